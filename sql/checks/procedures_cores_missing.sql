-- check: procedures_cores_missing
-- table: procedures
-- column: cores
-- severity: hold
-- message: cores is required for a completed procedure.
-- hint: Give the number of cores taken.
SELECT row_no
FROM checked_procedures
WHERE status = 'completed' AND cores IS NULL
