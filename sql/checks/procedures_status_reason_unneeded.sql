-- check: procedures_status_reason_unneeded
-- table: procedures
-- column: status_reason
-- severity: warning
-- message: status_reason says why no tissue was taken, but the procedure is completed.
-- hint: Correct status or leave status_reason empty.
SELECT row_no
FROM checked_procedures
WHERE status = 'completed' AND status_reason IS NOT NULL
