-- check: procedures_age_from_birth
-- table: procedures
-- column: age_years
-- severity: hold
-- message: The age from the date of birth is outside 10 to 115 years.
-- hint: Correct the date of birth or the procedure.
SELECT row_no
FROM checked_visits
WHERE date_sub('year', birth_date, started_on) NOT BETWEEN 10 AND 115
