-- check: reviews_due_on_before_review
-- table: reviews
-- column: due_on
-- severity: hold
-- message: due_on is before reviewed_on.
-- hint: Correct one of the two dates.
SELECT row_no
FROM checked_reviews
WHERE due_on < reviewed_on
