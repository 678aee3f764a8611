-- check: followup_contact_result_missing
-- table: followup
-- column: contact_result
-- severity: hold
-- message: contact_result is required for a contact.
-- hint: Say what came of it.
SELECT row_no
FROM checked_followup
WHERE kind = 'contact' AND contact_result IS NULL
