-- measure: timely_review
-- kind: proportion
-- title: Joint review within 14 days
-- question: How often was the first joint review held within 14 days of the first report?
-- group: timeliness
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: first joint review at most 14 days after the first report, or before it
-- denominator: sampled procedures with a current report first issued at least 14 days ago
-- exclusions: not sampled (status not completed); no pathology report (no current report: none, preliminary
--     ones only, or retracted); first report fewer than 14 days before as_of (the time for a review is not
--     over)
-- window: 14 days after the first report, last day included
-- interval: wilson
-- direction: higher
-- source: common practice
-- note: Provisional reviews do not count. The first report is the earliest final or amended version of the
--     reports that are current.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_reported THEN 'no pathology report'
        WHEN date_diff('day', first_report_on, CAST($as_of AS DATE)) < 14
            THEN 'first report fewer than 14 days before as_of'
    END AS excluded_because,
    coalesce(date_diff('day', first_report_on, first_joint_review_on) <= 14, FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
