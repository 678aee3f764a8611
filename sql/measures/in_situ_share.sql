-- measure: in_situ_share
-- kind: proportion
-- title: In situ share of cancers
-- question: Which share of the malignancies at biopsy was in situ?
-- group: yield
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: worst diagnosis in_situ
-- denominator: first sampled procedures of their chain with a malignant diagnosis
-- exclusions: not sampled (status not completed); repeat procedure (tissue was taken earlier in its chain of
--     repeats); report window not complete (started fewer than 30 days before the as-of date, reported or
--     not); no pathology report (no current report: none, preliminary ones only, or retracted); not malignant
--     (diagnosis not in_situ, invasive or other_malignant)
-- window: 30 days for the report to arrive
-- interval: wilson
-- direction: context
-- source: common practice
-- note: The current version of a report is its highest version that is not preliminary; a retracted one voids
--     the report. The diagnosis is the worst among the current reports.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_index THEN 'repeat procedure'
        WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 30 THEN 'report window not complete'
        WHEN NOT is_reported THEN 'no pathology report'
        WHEN NOT is_malignant THEN 'not malignant'
    END AS excluded_because,
    coalesce(diagnosis = 'in_situ', FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
