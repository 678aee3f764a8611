-- check: constancy_counts_missing
-- table: constancy
-- column: counts
-- severity: hold
-- message: counts is required for a check of counts.
-- hint: Fill it in.
SELECT row_no
FROM checked_constancy
WHERE kind = 'counts' AND counts IS NULL
