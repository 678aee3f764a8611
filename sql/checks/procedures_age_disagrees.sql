-- check: procedures_age_disagrees
-- table: procedures
-- column: age_years
-- severity: hold
-- scope: batch
-- message: age_years does not agree with the date of birth.
-- hint: Correct one of the two, or leave age_years empty.
SELECT p.row_no
FROM checked_procedures AS p
JOIN known_findings AS f ON f.finding_id = p.finding_id
JOIN known_birth AS b ON b.patient = f.patient
WHERE p.is_stated_age AND p.age_years <> date_sub('year', b.birth_date, CAST(p.started_at AS DATE))
