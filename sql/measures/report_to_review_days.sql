-- measure: report_to_review_days
-- kind: quantity
-- title: First report to joint review
-- question: How many days passed from the first report to the first joint review?
-- group: timeliness
-- unit: procedure (one target, one visit); cluster: the patient
-- value: first report to first joint review; negative where the review came first
-- value_unit: d
-- denominator: sampled, reported procedures with a joint review
-- exclusions: not sampled (status not completed); no pathology report (no current report: none, preliminary
--     ones only, or retracted); not reviewed (no joint review)
-- window: none
-- interval: order statistics of the median
-- direction: lower
-- source: common practice
-- note: Provisional reviews do not count.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_reported THEN 'no pathology report'
        WHEN first_joint_review_on IS NULL THEN 'not reviewed'
    END AS excluded_because,
    CAST(date_diff('day', first_report_on, first_joint_review_on) AS DOUBLE) AS measured,
    TRUE AS counts_as_missing
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
