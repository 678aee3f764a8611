-- measure: discordance
-- kind: proportion
-- title: Discordant at the first conclusive review
-- question: How often did pathology not explain the image?
-- group: concordance
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: first conclusive review discordant
-- denominator: sampled, reported procedures with a conclusive review
-- exclusions: not sampled (status not completed); report window not complete (started fewer than 30 days
--     before the as-of date, reported or not); no pathology report (no current report: none, preliminary ones
--     only, or retracted); no conclusive review (no joint review was concordant or discordant)
-- window: 30 days for the report to arrive
-- interval: wilson
-- bounds: missing
-- direction: context
-- source: share of procedures, as in Acad Radiol 2016;23(8); other series count benign results only
-- note: Joint reviews stand in the order of their day and key; provisional ones never count. Conclusive is
--     concordant or discordant.
WITH unit AS (
    SELECT
        procedure_id,
        started_on,
        CASE
            WHEN NOT is_sampled THEN 'not sampled'
            WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 30 THEN 'report window not complete'
            WHEN NOT is_reported THEN 'no pathology report'
            WHEN first_conclusive IS NULL THEN 'no conclusive review'
        END AS excluded_because,
        coalesce(first_conclusive = 'discordant', FALSE) AS in_numerator
    FROM procedure_facts
    WHERE started_on <= CAST($as_of AS DATE)
)

SELECT
    procedure_id,
    started_on AS index_date,
    excluded_because,
    in_numerator,
    CASE WHEN excluded_because = 'no conclusive review' THEN 'u' END AS unknown
FROM unit
