-- check: patients_birth_in_future
-- table: patients
-- column: birth_date
-- severity: hold
-- message: The date of birth lies in the future.
-- hint: Correct it.
SELECT row_no
FROM checked_patients
WHERE birth_date > $today
