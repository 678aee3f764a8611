-- check: constancy_seconds_missing
-- table: constancy
-- column: seconds
-- severity: hold
-- message: seconds is required for a check of counts.
-- hint: Fill it in.
SELECT row_no
FROM checked_constancy
WHERE kind = 'counts' AND seconds IS NULL
