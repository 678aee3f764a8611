-- check: procedures_after_death
-- table: procedures
-- column: started_at
-- severity: hold
-- message: started_at is after the date of death of the patient (order of events).
-- hint: Correct the procedure or the date of death.
SELECT row_no
FROM checked_visits
WHERE started_on > death_date
