-- check: reviews_informed_on_before_review
-- table: reviews
-- column: informed_on
-- severity: hold
-- message: informed_on is before reviewed_on.
-- hint: Correct one of the two dates.
SELECT row_no
FROM checked_reviews
WHERE informed_on < reviewed_on
