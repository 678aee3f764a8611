-- check: procedures_status_reason_missing
-- table: procedures
-- column: status_reason
-- severity: hold
-- message: status_reason is required where no tissue was taken.
-- hint: Say why no tissue was taken.
SELECT row_no
FROM checked_procedures
WHERE status <> 'completed' AND status_reason IS NULL
