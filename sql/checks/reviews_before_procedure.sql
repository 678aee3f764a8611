-- check: reviews_before_procedure
-- table: reviews
-- column: reviewed_on
-- severity: hold
-- message: The review is before the procedure (order of events).
-- hint: Correct one of the two dates.
SELECT v.row_no
FROM checked_reviews AS v
JOIN known_visits AS p ON p.procedure_id = v.procedure_id
WHERE v.reviewed_on < p.started_on
