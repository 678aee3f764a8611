-- measure: biopsy_to_report_days
-- kind: quantity
-- title: Biopsy to first report
-- question: How many days passed from the biopsy to its first report?
-- group: timeliness
-- unit: procedure (one target, one visit); cluster: the patient
-- value: day of the procedure to the first report
-- value_unit: d
-- denominator: sampled procedures with a current report
-- exclusions: not sampled (status not completed); no pathology report (no current report: none, preliminary
--     ones only, or retracted)
-- window: none
-- interval: order statistics of the median
-- direction: lower
-- source: common practice
-- note: The first report is the earliest final or amended version of the reports that are current. Recent
--     procedures whose report is still to come are left out, which makes the newest figures too short.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_reported THEN 'no pathology report'
    END AS excluded_because,
    CAST(date_diff('day', started_on, first_report_on) AS DOUBLE) AS measured,
    TRUE AS counts_as_missing
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
