-- measure: ppv3
-- kind: proportion
-- title: Breast cancer after a biopsy advised on suspicion (PPV3)
-- question: How often was a biopsied finding of category 4 or 5 a breast cancer within a year?
-- group: yield
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: breast cancer (in_situ or invasive) at biopsy, or found later within 365 days, whether or not
--     another malignancy came earlier
-- denominator: first sampled procedures of findings in category 4 or 5, with a current report
-- exclusions: not sampled (status not completed); repeat procedure (tissue was taken earlier in its chain of
--     repeats); window not complete (started fewer than 365 days before the as-of date); no pathology report
--     (no current report: none, preliminary ones only, or retracted); assessment not 4, 4a, 4b, 4c or 5
--     (category of the finding before the biopsy)
-- window: 365 days after the procedure, last day included
-- interval: wilson
-- direction: context
-- source: biopsies performed that give cancer within one year: BCSC diagnostic benchmarks; AJR 2009;193:157
--     table 1
-- note: Later cancer is a malignant diagnosis (in_situ, invasive, other_malignant) found on any procedure of
--     the chain: by a sampled repeat that started later and has a current report (dated by its start), by
--     registry linkage from the day after the procedure, or by an excision from the day itself. An excision
--     or linkage stated to be from another site counts nowhere; where the site is not stated, it counts.
-- caution: Breast cancer is carcinoma in situ or invasive carcinoma; classic lobular carcinoma in situ is coded
--     as a high-risk lesion and does not count.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_index THEN 'repeat procedure'
        WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 365 THEN 'window not complete'
        WHEN NOT is_reported THEN 'no pathology report'
        WHEN assessment NOT IN ('4', '4A', '4B', '4C', '5') THEN 'assessment not 4, 4a, 4b, 4c or 5'
    END AS excluded_because,
    is_breast_cancer OR coalesce(date_diff('day', started_on, later_breast_cancer_on) <= 365, FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
