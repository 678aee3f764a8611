-- check: procedures_age_from_birth
-- table: procedures
-- column: age_years
-- severity: hold
-- message: The age from the date of birth is outside 10 to 115 years.
-- hint: Correct the date of birth or the procedure.
SELECT p.row_no
FROM checked_procedures AS p
JOIN known_findings AS f ON f.finding_id = p.finding_id
JOIN known_birth AS b ON b.patient = f.patient
WHERE date_sub('year', b.birth_date, CAST(p.started_at AS DATE)) NOT BETWEEN 10 AND 115
