-- check: procedures_age_unusual
-- table: procedures
-- column: age_years
-- severity: warning
-- message: The age is outside 18 to 100 years.
-- hint: Make sure that it is right.
SELECT row_no
FROM checked_visits
WHERE coalesce(date_sub('year', birth_date, started_on), age_years) NOT BETWEEN 18 AND 100
