-- check: constancy_clock_missing
-- table: constancy
-- column: clock_offset_s
-- severity: hold
-- message: clock_offset_s is required for a check of the clock.
-- hint: Fill it in.
SELECT row_no
FROM checked_constancy
WHERE kind = 'clock' AND clock_offset_s IS NULL
