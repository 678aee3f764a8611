-- check: followup_before_procedure
-- table: followup
-- column: happened_on
-- severity: hold
-- message: happened_on is before the procedure that the event follows (order of events).
-- hint: Correct one of the two dates.
SELECT e.row_no
FROM checked_followup AS e
JOIN known_visits AS p ON p.procedure_id = e.procedure_id
WHERE e.happened_on < p.started_on
