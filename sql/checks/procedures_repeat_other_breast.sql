-- check: procedures_repeat_other_breast
-- table: procedures
-- column: repeat_of
-- severity: review
-- message: The procedure named in repeat_of concerns another breast or another patient.
-- hint: Correct repeat_of.
SELECT p.row_no
FROM checked_procedures AS p
JOIN known_procedures AS q ON q.procedure_id = p.repeat_of
JOIN known_findings AS f ON f.finding_id = p.finding_id
JOIN known_findings AS g ON g.finding_id = q.finding_id
WHERE p.finding_id <> q.finding_id AND (f.patient <> g.patient OR f.laterality <> g.laterality)
