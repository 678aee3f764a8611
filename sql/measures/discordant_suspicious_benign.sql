-- measure: discordant_suspicious_benign
-- kind: proportion
-- title: Discordant among benign results of category 4 or 5
-- question: How often did a benign result not explain a finding of category 4 or 5?
-- group: concordance
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: first conclusive review discordant
-- denominator: sampled procedures of a finding of category 4 or 5 with a benign result and a conclusive
--     review
-- exclusions: not sampled (status not completed); report window not complete (started fewer than 30 days
--     before the as-of date, reported or not); no pathology report (no current report: none, preliminary ones
--     only, or retracted); no conclusive review (no joint review was concordant or discordant); not a benign
--     result (diagnosis neither normal nor benign); assessment not 4, 4a, 4b, 4c or 5 (category of the finding
--     before the biopsy)
-- window: 30 days for the report to arrive
-- interval: wilson
-- bounds: missing
-- direction: context
-- source: one of three denominators of discordance in published series; the others are all reviewed
--     procedures and all benign results
-- note: Joint reviews stand in the order of their day and key; provisional ones never count. Conclusive is
--     concordant or discordant. Unknown are benign results of such findings without a conclusive
--     review.
WITH unit AS (
    SELECT
        procedure_id,
        started_on,
        CASE
            WHEN NOT is_sampled THEN 'not sampled'
            WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 30 THEN 'report window not complete'
            WHEN NOT is_reported THEN 'no pathology report'
            WHEN first_conclusive IS NULL THEN 'no conclusive review'
            WHEN NOT is_benign_result THEN 'not a benign result'
            WHEN assessment NOT IN ('4', '4A', '4B', '4C', '5') THEN 'assessment not 4, 4a, 4b, 4c or 5'
        END AS excluded_because,
        coalesce(first_conclusive = 'discordant', FALSE) AS in_numerator,
        is_benign_result AND assessment IN ('4', '4A', '4B', '4C', '5') AS is_suspicious_benign
    FROM procedure_facts
    WHERE started_on <= CAST($as_of AS DATE)
)

SELECT
    procedure_id,
    started_on AS index_date,
    excluded_because,
    in_numerator,
    CASE WHEN excluded_because = 'no conclusive review' AND is_suspicious_benign THEN 'u' END AS unknown
FROM unit
