-- check: procedures_started_before_found
-- table: procedures
-- column: started_at
-- severity: hold
-- message: started_at is before the day on which the finding was found (order of events).
-- hint: Correct the procedure or the finding.
SELECT row_no
FROM checked_visits
WHERE started_on < found_on
