-- check: specimens_scanned_with_other
-- table: specimens
-- column: scanned_with
-- severity: hold
-- message: scanned_with names a container of another procedure, or the container itself.
-- hint: Name the container of the same procedure that carries the counts.
SELECT s.row_no
FROM checked_specimens AS s
JOIN known_specimens AS c ON c.specimen_id = s.scanned_with
WHERE c.procedure_id <> s.procedure_id OR s.scanned_with = s.specimen_id
