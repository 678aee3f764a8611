-- flags: read_without_uptake
-- title: Procedures in whose specimens a reader saw no tracer
-- grain: one row per procedure asked for
SELECT DISTINCT procedure_id
FROM main.specimens
WHERE uptake_seen = 'no' AND procedure_id IN (SELECT unnest($ids))
ORDER BY procedure_id
