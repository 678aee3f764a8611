-- record: procedure
-- title: The procedure as it is recorded now
-- grain: one row, none where the key is unknown
SELECT
    p.* EXCLUDE (author, batch_id),
    CAST(p.started_at AS DATE) AS started_on,
    least(
        a.death_date,
        (
            SELECT min(e.happened_on)
            FROM main.followup AS e
            JOIN main.procedures AS o ON o.procedure_id = e.procedure_id
            JOIN main.findings AS g ON g.finding_id = o.finding_id
            WHERE e.kind = 'death' AND g.patient = f.patient
        )
    ) AS died_on
FROM main.procedures AS p
JOIN main.findings AS f ON f.finding_id = p.finding_id
JOIN main.patients AS a ON a.patient = f.patient
WHERE p.procedure_id = $procedure_id
