-- check: patients_age_at_procedure
-- table: patients
-- column: birth_date
-- severity: hold
-- message: The date of birth makes the patient younger than 10 or older than 115 years at a procedure.
-- hint: Correct the date of birth, or the procedure.
SELECT DISTINCT p.row_no
FROM checked_patients AS p
JOIN known_findings AS f ON f.patient = p.patient
JOIN known_procedures AS q ON q.finding_id = f.finding_id
WHERE date_sub('year', p.birth_date, CAST(q.started_at AS DATE)) NOT BETWEEN 10 AND 115
    AND CAST(q.started_at AS DATE) BETWEEN f.found_on AND $today
