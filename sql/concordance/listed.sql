-- concordance: listed
-- title: Procedures that stand on the list of the meeting for another reason than the worklist's
-- grain: one row per procedure asked for
SELECT
    CAST($place AS INTEGER) AS place,
    CAST($reason AS VARCHAR) AS reason,
    f.procedure_id,
    f.site,
    f.started_on,
    f.finding_type,
    f.assessment,
    f.diagnosis,
    coalesce(f.first_report_on, f.started_on) AS waiting_since,
    0 AS days_overdue,
    CAST(NULL AS VARCHAR) AS changed
FROM procedure_facts AS f
WHERE f.procedure_id IN (SELECT unnest($ids)) AND f.started_on <= CAST($as_of AS DATE)
