-- check: procedures_age_missing
-- table: procedures
-- column: age_years
-- severity: hold
-- message: Neither age_years nor a date of birth is known.
-- hint: Give one of the two.
SELECT p.row_no
FROM checked_procedures AS p
LEFT JOIN known_findings AS f ON f.finding_id = p.finding_id
LEFT JOIN known_birth AS b ON b.patient = f.patient
WHERE p.age_years IS NULL AND b.birth_date IS NULL
