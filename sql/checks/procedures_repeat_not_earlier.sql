-- check: procedures_repeat_not_earlier
-- table: procedures
-- column: repeat_of
-- severity: hold
-- message: The procedure named in repeat_of did not start earlier.
-- hint: Name the earlier procedure, or correct the times.
SELECT p.row_no
FROM checked_visits AS p
JOIN known_visits AS q ON q.procedure_id = p.repeat_of
WHERE q.started_at >= p.started_at AND p.repeat_of <> p.procedure_id
