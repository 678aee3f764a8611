-- check: specimens_scan_before_procedure
-- table: specimens
-- column: scan_at
-- severity: hold
-- message: scan_at is before the start of the procedure.
-- hint: Correct one of the two times.
SELECT s.row_no
FROM checked_specimens AS s
JOIN known_visits AS p ON p.procedure_id = s.procedure_id
WHERE s.scan_at < p.started_at
