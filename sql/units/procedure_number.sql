-- units: procedure_number
-- title: Which procedure of its operator a procedure was
-- grain: one row per attempted procedure; parameter as_of
-- note: Numbered by the moment of the start over everything the operator attempted up to the as-of date,
--     whatever the period asked about. The number is empty where the experience before the registry is not
--     recorded: without it nobody knows where to begin counting.
SELECT
    p.procedure_id,
    p.operator,
    o.experience_before + row_number() OVER (
        PARTITION BY p.operator
        ORDER BY
            epoch_us(p.started_at) - CAST(60000000 AS BIGINT) * coalesce(p.started_at_offset_min, 0),
            p.procedure_id
    ) AS number
FROM main.procedures AS p
LEFT JOIN main.operators AS o ON o.operator = p.operator
WHERE p.status <> 'cancelled' AND CAST(p.started_at AS DATE) <= CAST($as_of AS DATE)
