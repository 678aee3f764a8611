-- check: procedures_age_unusual
-- table: procedures
-- column: age_years
-- severity: warning
-- message: The age is outside 18 to 100 years.
-- hint: Make sure that it is right.
SELECT p.row_no
FROM checked_procedures AS p
LEFT JOIN known_findings AS f ON f.finding_id = p.finding_id
LEFT JOIN known_birth AS b ON b.patient = f.patient
WHERE coalesce(date_sub('year', b.birth_date, CAST(p.started_at AS DATE)), p.age_years) NOT BETWEEN 18 AND 100
