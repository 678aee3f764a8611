-- record: newest
-- title: Keys of the procedures, the latest start first
-- grain: one row per procedure, at most $rows
SELECT procedure_id, CAST(started_at AS DATE) AS started_on, site, guidance, status
FROM main.procedures
ORDER BY started_at DESC, procedure_id
LIMIT $rows
