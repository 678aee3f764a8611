-- check: procedures_repeat_reason_alone
-- table: procedures
-- column: repeat_of
-- severity: warning
-- message: repeat_reason is given without repeat_of.
-- hint: Name the procedure that this one repeats.
SELECT row_no
FROM checked_procedures
WHERE repeat_of IS NULL AND repeat_reason IS NOT NULL
