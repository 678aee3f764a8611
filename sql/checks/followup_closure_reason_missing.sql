-- check: followup_closure_reason_missing
-- table: followup
-- column: closure_reason
-- severity: hold
-- message: closure_reason is required where follow-up is lost.
-- hint: Say why it was closed.
SELECT row_no
FROM checked_followup
WHERE kind = 'lost' AND closure_reason IS NULL
