-- units: operators
-- title: What each operator brought, and did, in the period
-- grain: one row per operator with a procedure in the period; parameters as_of, start, end (both days
--     included)
-- note: Attempted is completed or abandoned: the needle was in. Experience before the registry is as the
--     operator stated it.
SELECT
    p.operator,
    any_value(o.role) AS role,
    any_value(o.experience_before) AS experience_before,
    count(*) AS procedures,
    count(*) FILTER (WHERE p.status <> 'cancelled') AS attempted,
    count(p.supervisor) AS supervised,
    list_sort(list(DISTINCT p.supervisor) FILTER (WHERE p.supervisor IS NOT NULL)) AS supervisors
FROM main.procedures AS p
LEFT JOIN main.operators AS o ON o.operator = p.operator
WHERE CAST(p.started_at AS DATE) BETWEEN $start AND least($end, CAST($as_of AS DATE))
GROUP BY p.operator
ORDER BY p.operator
