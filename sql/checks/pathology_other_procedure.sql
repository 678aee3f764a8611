-- check: pathology_other_procedure
-- table: pathology
-- column: specimen_id
-- severity: hold
-- message: The container belongs to another procedure.
-- hint: Correct specimen_id or procedure_id.
SELECT r.row_no
FROM checked_pathology AS r
JOIN known_specimens AS s ON s.specimen_id = r.specimen_id
WHERE s.procedure_id <> r.procedure_id
