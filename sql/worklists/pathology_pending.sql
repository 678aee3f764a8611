-- worklist: pathology_pending
-- title: Pathology pending
-- question: Which tissue has been sent and has no report?
-- who: the coordinator
-- order: the longest wait first
-- columns: reason, procedure_id, site, started_on, finding_id, assessment, containers, days_waiting,
--     days_overdue
-- narrow: reason, procedure_id, site, started_on, assessment, containers, days_waiting, days_overdue
-- note: Listed are sampled procedures older than the local limit (report_due_days) without a current
--     report: none at all, only preliminary ones, or only retracted ones.
WITH version AS (
    SELECT
        procedure_id,
        count(*) FILTER (WHERE status = 'preliminary') AS preliminary,
        count(*) FILTER (WHERE status = 'retracted') AS retracted
    FROM main.pathology
    WHERE reported_on <= $as_of
    GROUP BY procedure_id
),

container AS (
    SELECT procedure_id, count(*) AS containers
    FROM main.specimens
    GROUP BY procedure_id
),

waiting AS (
    SELECT
        f.procedure_id,
        f.site,
        f.started_on,
        f.finding_id,
        f.assessment,
        c.containers,
        v.retracted,
        v.preliminary,
        date_diff('day', f.started_on, $as_of) AS days_waiting,
        (SELECT number FROM site_setting WHERE name = 'report_due_days') AS due_days
    FROM procedure_facts AS f
    LEFT JOIN version AS v ON v.procedure_id = f.procedure_id
    LEFT JOIN container AS c ON c.procedure_id = f.procedure_id
    WHERE f.is_sampled AND NOT f.is_reported
)

SELECT
    CASE
        WHEN retracted > 0 THEN 'report retracted, no other one'
        WHEN preliminary > 0 THEN 'preliminary report only'
        ELSE 'no report'
    END AS reason,
    procedure_id,
    site,
    started_on,
    finding_id,
    assessment,
    containers,
    days_waiting,
    CAST(days_waiting - due_days AS INTEGER) AS days_overdue
FROM waiting
WHERE days_waiting > due_days
ORDER BY days_waiting DESC, procedure_id
