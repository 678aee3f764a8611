-- record: reports
-- title: Every version of every pathology report of a procedure
-- grain: one row per report, specimen and version; is_current marks the version that counts
SELECT
    v.* EXCLUDE (author, batch_id),
    v.author AS coded_by,
    v.status NOT IN ('preliminary', 'retracted')
    AND v.version = max(v.version) FILTER (WHERE v.status <> 'preliminary')
        OVER (PARTITION BY v.report_id, v.procedure_id, v.specimen_id) AS is_current
FROM main.pathology AS v
WHERE v.procedure_id = $procedure_id
ORDER BY v.reported_on, v.report_id, v.specimen_id, v.version
