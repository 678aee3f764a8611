-- check: procedures_repeat_other_breast
-- table: procedures
-- column: repeat_of
-- severity: review
-- message: The procedure named in repeat_of concerns another breast or another patient.
-- hint: Correct repeat_of.
SELECT p.row_no
FROM checked_visits AS p
JOIN known_visits AS q ON q.procedure_id = p.repeat_of
WHERE p.finding_id <> q.finding_id AND (p.patient <> q.patient OR p.laterality <> q.laterality)
