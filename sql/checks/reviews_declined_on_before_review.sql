-- check: reviews_declined_on_before_review
-- table: reviews
-- column: declined_on
-- severity: hold
-- message: declined_on is before reviewed_on.
-- hint: Correct one of the two dates.
SELECT row_no
FROM checked_reviews
WHERE declined_on < reviewed_on
