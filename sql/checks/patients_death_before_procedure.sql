-- check: patients_death_before_procedure
-- table: patients
-- column: death_date
-- severity: hold
-- message: The date of death is before a procedure of this patient (order of events).
-- hint: Correct the date of death or the procedure.
SELECT DISTINCT p.row_no
FROM checked_patients AS p
JOIN known_findings AS f ON f.patient = p.patient
JOIN known_procedures AS q ON q.finding_id = f.finding_id
WHERE CAST(q.started_at AS DATE) > p.death_date
