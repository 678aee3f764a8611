-- check: followup_none_at_excision
-- table: followup
-- column: diagnosis
-- severity: hold
-- message: An excision cannot have the diagnosis none.
-- hint: Give the diagnosis of the excised tissue.
SELECT row_no
FROM checked_followup
WHERE kind = 'excision' AND diagnosis = 'none'
