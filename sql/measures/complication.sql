-- measure: complication
-- kind: proportion
-- title: Complication of grade 2 or more
-- question: How often did a procedure have a complication that needed treatment?
-- group: complications
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: a complication of the procedure itself of grade 2 or more, onset on day 0 to 30
-- denominator: attempted procedures started at least 30 days ago
-- exclusions: cancelled (ended before needle entry); started fewer than 30 days before as_of (the time in
--     which complications count is not over)
-- window: 30 days after the procedure, last day included
-- interval: wilson
-- direction: lower
-- source: project decision 0008; complications requiring treatment are an entry of the American College of
--     Radiology's stereotactic audit (revised 2019)
-- note: Grades of different schemes are never converted. A complication without a day of onset does not
--     count; a data check lists it.
-- caution: Definitions differ widely between published series.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN status = 'cancelled' THEN 'cancelled'
        WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 30
            THEN 'started fewer than 30 days before as_of'
    END AS excluded_because,
    coalesce(grade_30_days >= 2, FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
