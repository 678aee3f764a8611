-- check: patients_death_before_birth
-- table: patients
-- column: death_date
-- severity: hold
-- message: The date of death is before the date of birth.
-- hint: Correct one of the two.
SELECT row_no
FROM checked_patients
WHERE death_date < birth_date
