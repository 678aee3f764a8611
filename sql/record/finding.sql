-- record: finding
-- title: The imaging finding that a procedure was aimed at
-- grain: one row
SELECT f.* EXCLUDE (patient, author, batch_id)
FROM main.findings AS f
JOIN main.procedures AS p ON p.finding_id = f.finding_id
WHERE p.procedure_id = $procedure_id
