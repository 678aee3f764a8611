-- check: complications_before_procedure
-- table: complications
-- column: onset_on
-- severity: hold
-- message: onset_on is before the procedure (order of events).
-- hint: Correct one of the two dates.
SELECT c.row_no
FROM checked_complications AS c
JOIN known_visits AS p ON p.procedure_id = c.procedure_id
WHERE c.onset_on < p.started_on
