-- check: reviews_booked_for_before_review
-- table: reviews
-- column: booked_for
-- severity: hold
-- message: booked_for is before reviewed_on.
-- hint: Correct one of the two dates.
SELECT row_no
FROM checked_reviews
WHERE booked_for < reviewed_on
