-- check: procedures_repeat_of_itself
-- table: procedures
-- column: repeat_of
-- severity: hold
-- message: repeat_of names the procedure itself (self link).
-- hint: Name the earlier procedure.
SELECT row_no
FROM checked_procedures
WHERE repeat_of = procedure_id
