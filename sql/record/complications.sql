-- record: complications
-- title: Complications of a procedure itself
-- grain: one row per complication, in the order of their onset
SELECT * EXCLUDE (author, batch_id)
FROM main.complications
WHERE procedure_id = $procedure_id
ORDER BY onset_on, complication_id
