-- record: specimens
-- title: Specimen containers of a procedure
-- grain: one row per container, in the order in which they were filled
SELECT * EXCLUDE (author, batch_id)
FROM main.specimens
WHERE procedure_id = $procedure_id
ORDER BY taken_order, specimen_id
