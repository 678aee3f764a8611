-- measure: discordance_latest
-- kind: proportion
-- title: Discordant at the latest review
-- question: How often does the latest review say that pathology does not explain the image?
-- group: concordance
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: latest joint review discordant
-- denominator: sampled, reported procedures whose latest joint review is not indeterminate
-- exclusions: not sampled (status not completed); report window not complete (started fewer than 30 days
--     before the as-of date, reported or not); no pathology report (no current report: none, preliminary ones
--     only, or retracted); not reviewed (no joint review); latest indeterminate (the latest joint review was
--     indeterminate)
-- window: 30 days for the report to arrive
-- interval: wilson
-- bounds: missing
-- direction: context
-- source: common practice
-- note: Joint reviews stand in the order of their day and key; provisional ones never count. Conclusive is
--     concordant or discordant. Unknown are those not reviewed or indeterminate at the latest review.
WITH unit AS (
    SELECT
        procedure_id,
        started_on,
        CASE
            WHEN NOT is_sampled THEN 'not sampled'
            WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 30 THEN 'report window not complete'
            WHEN NOT is_reported THEN 'no pathology report'
            WHEN first_joint_review_on IS NULL THEN 'not reviewed'
            WHEN latest_determination = 'indeterminate' THEN 'latest indeterminate'
        END AS excluded_because,
        coalesce(latest_determination = 'discordant', FALSE) AS in_numerator
    FROM procedure_facts
    WHERE started_on <= CAST($as_of AS DATE)
)

SELECT
    procedure_id,
    started_on AS index_date,
    excluded_because,
    in_numerator,
    CASE WHEN excluded_because IN ('not reviewed', 'latest indeterminate') THEN 'u' END AS unknown
FROM unit
