-- check: pathology_before_procedure
-- table: pathology
-- column: reported_on
-- severity: hold
-- message: reported_on is before the procedure (order of events).
-- hint: Correct one of the two dates.
SELECT r.row_no
FROM checked_pathology AS r
JOIN known_visits AS p ON p.procedure_id = r.procedure_id
WHERE r.reported_on < p.started_on
