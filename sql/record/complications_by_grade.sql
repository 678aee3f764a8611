-- record: complications_by_grade
-- title: Complications within 30 days of the procedure, by kind, scale and grade
-- grain: one row per kind, scale and grade that occurs; counts complications, not procedures
SELECT
    c.kind,
    c.scheme,
    c.grade,
    count(*) AS complications
FROM main.complications AS c
JOIN main.procedures AS p ON p.procedure_id = c.procedure_id
WHERE p.status <> 'cancelled'
    AND c.onset_on <= $as_of
    AND date_diff('day', CAST(p.started_at AS DATE), c.onset_on) BETWEEN 0 AND 30
    AND CAST(p.started_at AS DATE) BETWEEN $start AND $end
GROUP BY c.kind, c.scheme, c.grade
ORDER BY c.kind, c.scheme, c.grade
