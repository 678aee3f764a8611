-- facts: report_facts
-- grain: one row per procedure with a current report
-- title: First report, worst diagnosis and worst B category among the current reports
SELECT
    procedure_id,
    min(first_report_on) AS first_report_on,
    -- The text and not its rank, which would have to be looked up again for every wide row at the end.
    arg_max(diagnosis, diagnosis_rank) FILTER (WHERE diagnosis_rank > 0) AS diagnosis,
    max(b_rank) AS b_rank
FROM current_report_facts
WHERE status <> 'retracted'
GROUP BY procedure_id
