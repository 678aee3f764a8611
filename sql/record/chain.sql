-- record: chain
-- title: The other procedures of the chain that repeat_of links
-- grain: one row per procedure, in the order of their start
SELECT
    o.procedure_id,
    CAST(o.started_at AS DATE) AS started_on,
    o.status,
    o.guidance,
    o.repeat_of,
    o.repeat_reason
FROM main.procedures AS p
JOIN main.procedures AS o ON o.root_id = p.root_id AND o.procedure_id <> p.procedure_id
WHERE p.procedure_id = $procedure_id
ORDER BY o.started_at, o.procedure_id
