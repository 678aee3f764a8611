-- check: reviews_reason_missing
-- table: reviews
-- column: reason
-- severity: hold
-- message: reason is required for a discordant or indeterminate review.
-- hint: Say why.
SELECT row_no
FROM checked_reviews
WHERE determination IN ('discordant', 'indeterminate') AND reason IS NULL
