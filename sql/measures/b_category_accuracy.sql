-- measure: b_category_accuracy
-- kind: table
-- title: B categories against the outcome
-- question: How well did the B category of the biopsy foretell what the year after it showed?
-- group: pathology
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: see the ratios: absolute sensitivity (m5 + n5) / C; complete sensitivity (m5 + n5 + m4 + m3) /
--     C; miss rate (m2 + m1) / C; false negatives of B2 m2 / C; false positives b5 / C; suspicious rate (T3 +
--     T4) / T; B1 rate T1 / T; predictive value of B5 (T5 - b5) / T5, of B4 m4 / T4, of B3 m3 / T3; negative
--     predictive value of B2 (T2 - m2) / T2; specificity of the biopsied b2 / B; full specificity (b2 + n2) /
--     (B + n1 + n2 + n3 + n4)
-- denominator: first sampled, reported procedures with a B category. Each is m (later cancer within 365 days;
--     for B5 also an excision within 365 days adjudicated target_removed, therapy_response or site_missed), b
--     (excised within 365 days and not m) or n (neither). Tk = mk + bk + nk, C = m1 + ... + m5 + n5, B = b1 +
--     ... + b5, T all
-- exclusions: not sampled (status not completed); repeat procedure (tissue was taken earlier in its chain of
--     repeats); window not complete (started fewer than 365 days before the as-of date); no pathology report
--     (no current report: none, preliminary ones only, or retracted); no b category (no current report states
--     one)
-- window: 365 days after the procedure, last day included
-- interval: wilson
-- source: European guidelines for quality assurance in breast cancer screening and diagnosis, 4th ed. 2006,
--     chapter 6, from memory; unit of count as in the English national pathology audit
-- note: The worst B category of the current reports counts, B5 not subdivided. A malignant biopsy never
--     operated (n5) counts as cancer. Later cancer is a malignant diagnosis (in_situ, invasive,
--     other_malignant) found on any procedure of the chain: by a sampled repeat that started later and has a
--     current report (dated by its start), by registry linkage from the day after the procedure, or by an
--     excision from the day itself. An excision or linkage stated to be from another site counts nowhere;
--     where the site is not stated, it counts. An excision counts from the day of the procedure on, on any
--     procedure of the chain, unless it is stated to be from another site.
-- caution: b5, a malignant biopsy with a benign excision, is listed for adjudication: the biopsy may have
--     removed the target. How many of the n are not resolved stands beside the rates that take them as free
--     of cancer.
WITH unit AS (
    SELECT
        procedure_id,
        started_on,
        CASE
            WHEN NOT is_sampled THEN 'not sampled'
            WHEN NOT is_index THEN 'repeat procedure'
            WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 365 THEN 'window not complete'
            WHEN NOT is_reported THEN 'no pathology report'
            WHEN b_category IS NULL THEN 'no b category'
        END AS excluded_because,
        b_category,
        coalesce(date_diff('day', started_on, later_cancer_on) <= 365, FALSE)
        OR (
            b_category = 'B5'
            AND coalesce(date_diff('day', started_on, adjudicated_excision_on) <= 365, FALSE)
        ) AS is_cancer,
        coalesce(date_diff('day', started_on, first_excision_on) <= 365, FALSE) AS is_excised,
        is_resolved
    FROM procedure_facts
    WHERE started_on <= CAST($as_of AS DATE)
)

SELECT
    procedure_id,
    started_on AS index_date,
    excluded_because,
    b_category,
    CASE WHEN is_cancer THEN 'm' WHEN is_excised THEN 'b' ELSE 'n' END AS outcome,
    is_resolved
FROM unit
