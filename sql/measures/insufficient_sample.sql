-- measure: insufficient_sample
-- kind: proportion
-- title: Insufficient sample
-- question: How often did the pathologist receive too little to say?
-- group: yield
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: worst diagnosis insufficient
-- denominator: sampled procedures with a current report
-- exclusions: not sampled (status not completed); report window not complete (started fewer than 30 days
--     before the as-of date, reported or not); no pathology report (no current report: none, preliminary ones
--     only, or retracted)
-- window: 30 days for the report to arrive
-- interval: wilson
-- direction: lower
-- source: repeat for insufficient sample is an entry of the American College of Radiology's stereotactic
--     audit (revised 2019)
-- note: The current version of a report is its highest version that is not preliminary; a retracted one voids
--     the report. The diagnosis is the worst among the current reports.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 30 THEN 'report window not complete'
        WHEN NOT is_reported THEN 'no pathology report'
    END AS excluded_because,
    coalesce(diagnosis = 'insufficient', FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
