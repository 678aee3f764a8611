-- check: reviews_not_applicable
-- table: reviews
-- column: determination
-- severity: hold
-- message: not_applicable is only for cancelled or abandoned procedures.
-- hint: Say concordant, discordant or indeterminate.
SELECT v.row_no
FROM checked_reviews AS v
JOIN known_visits AS p ON p.procedure_id = v.procedure_id
WHERE v.determination = 'not_applicable' AND p.status = 'completed'
