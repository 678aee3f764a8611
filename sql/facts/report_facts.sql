-- facts: report_facts
-- grain: one row per procedure with a current report
-- title: First report, worst diagnosis and worst B category among the current reports
WITH issued AS (
    SELECT
        p.report_id,
        p.procedure_id,
        coalesce(p.specimen_id, '') AS container,
        p.version,
        p.status,
        p.reported_on,
        -- 0 stands for empty: arg_max would pass over an empty newest version to an older one.
        coalesce(d.rank, 0) AS diagnosis_rank,
        coalesce(b.rank, 0) AS b_rank
    FROM scope_pathology AS p
    LEFT JOIN code_rank AS d ON d.list = 'diagnosis' AND d.code = p.diagnosis
    LEFT JOIN code_rank AS b ON b.list = 'b_category' AND b.code = p.b_category
    WHERE p.status <> 'preliminary' AND p.reported_on <= CAST($as_of AS DATE)
),

report AS (
    SELECT
        procedure_id,
        arg_max(status, version) AS status,
        arg_max(diagnosis_rank, version) AS diagnosis_rank,
        arg_max(b_rank, version) AS b_rank,
        min(reported_on) FILTER (WHERE status <> 'retracted') AS first_report_on
    FROM issued
    GROUP BY report_id, procedure_id, container
)

SELECT
    procedure_id,
    min(first_report_on) AS first_report_on,
    max(diagnosis_rank) AS diagnosis_rank,
    max(b_rank) AS b_rank
FROM report
WHERE status <> 'retracted'
GROUP BY procedure_id
