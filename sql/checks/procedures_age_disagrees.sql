-- check: procedures_age_disagrees
-- table: procedures
-- column: age_years
-- severity: hold
-- scope: batch
-- message: age_years does not agree with the date of birth.
-- hint: Correct one of the two, or leave age_years empty.
SELECT row_no
FROM checked_visits
WHERE is_stated_age AND age_years <> date_sub('year', birth_date, started_on)
