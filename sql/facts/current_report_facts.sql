-- facts: current_report_facts
-- grain: one row per report, procedure and container of which a version was issued that is not preliminary
-- title: What the newest version says, and when the first one came
WITH issued AS (
    SELECT
        p.report_id,
        p.procedure_id,
        coalesce(p.specimen_id, '') AS container,
        p.version,
        p.status,
        p.reported_on,
        p.diagnosis,
        -- 0 stands for empty: arg_max would pass over an empty newest version to an older one.
        coalesce(rank_of(diagnosis, p.diagnosis), 0) AS diagnosis_rank,
        coalesce(rank_of(b_category, p.b_category), 0) AS b_rank
    FROM scope_pathology AS p
    WHERE p.status <> 'preliminary' AND p.reported_on <= CAST($as_of AS DATE)
)

SELECT
    report_id,
    procedure_id,
    container,
    arg_max(status, version) AS status,
    arg_max(diagnosis, version) AS diagnosis,
    arg_max(diagnosis_rank, version) AS diagnosis_rank,
    arg_max(b_rank, version) AS b_rank,
    min(reported_on) FILTER (WHERE status <> 'retracted') AS first_report_on
FROM issued
GROUP BY report_id, procedure_id, container
