-- record: reviews
-- title: Reviews of a procedure, provisional and joint
-- grain: one row per review, in the order of the measures
SELECT * EXCLUDE (author, batch_id)
FROM main.reviews
WHERE procedure_id = $procedure_id
ORDER BY reviewed_on, review_id
