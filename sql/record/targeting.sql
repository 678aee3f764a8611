-- record: targeting
-- title: Needle placements of a procedure
-- grain: one row per attempt, first to last
SELECT * EXCLUDE (author, batch_id)
FROM main.targeting
WHERE procedure_id = $procedure_id
ORDER BY attempt
