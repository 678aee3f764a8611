-- check: reviews_without_report
-- table: reviews
-- column: procedure_id
-- severity: hold
-- message: A sampled procedure is reviewed without any report.
-- hint: Send the pathology report first or with it.
SELECT v.row_no
FROM checked_reviews AS v
JOIN known_visits AS p ON p.procedure_id = v.procedure_id
WHERE p.status = 'completed'
    AND v.procedure_id NOT IN (SELECT procedure_id FROM known_pathology)
