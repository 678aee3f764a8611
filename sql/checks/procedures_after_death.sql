-- check: procedures_after_death
-- table: procedures
-- column: started_at
-- severity: hold
-- message: started_at is after the date of death of the patient (order of events).
-- hint: Correct the procedure or the date of death.
SELECT p.row_no
FROM checked_procedures AS p
JOIN known_findings AS f ON f.finding_id = p.finding_id
JOIN known_patients AS d ON d.patient = f.patient
WHERE CAST(p.started_at AS DATE) > d.death_date
