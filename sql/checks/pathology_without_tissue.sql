-- check: pathology_without_tissue
-- table: pathology
-- column: procedure_id
-- severity: warning
-- corrected: review
-- message: A report is given for a procedure without tissue.
-- hint: Make sure that it belongs to this procedure.
SELECT r.row_no
FROM checked_pathology AS r
JOIN known_visits AS p ON p.procedure_id = r.procedure_id
WHERE p.status <> 'completed'
