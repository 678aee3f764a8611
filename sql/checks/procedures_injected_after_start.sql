-- check: procedures_injected_after_start
-- table: procedures
-- column: injected_at
-- severity: hold
-- message: injected_at is after started_at.
-- hint: Correct one of the two times.
SELECT row_no
FROM checked_procedures
WHERE injected_at > started_at
