-- check: procedures_repeat_reason_missing
-- table: procedures
-- column: repeat_reason
-- severity: hold
-- message: repeat_reason is required where repeat_of is given.
-- hint: Say why the biopsy was repeated.
SELECT row_no
FROM checked_procedures
WHERE repeat_of IS NOT NULL AND repeat_reason IS NULL
