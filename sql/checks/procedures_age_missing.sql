-- check: procedures_age_missing
-- table: procedures
-- column: age_years
-- severity: hold
-- message: Neither age_years nor a date of birth is known.
-- hint: Give one of the two.
SELECT row_no
FROM checked_visits
WHERE age_years IS NULL AND birth_date IS NULL
