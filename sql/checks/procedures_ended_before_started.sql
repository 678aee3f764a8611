-- check: procedures_ended_before_started
-- table: procedures
-- column: ended_at
-- severity: hold
-- message: ended_at is before started_at.
-- hint: Correct one of the two times.
SELECT row_no
FROM checked_procedures
WHERE ended_at < started_at
