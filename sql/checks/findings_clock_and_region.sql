-- check: findings_clock_and_region
-- table: findings
-- column: region
-- severity: warning
-- message: A clock position is given beside region other than clock.
-- hint: Give the clock position, or the region where none applies.
SELECT row_no
FROM checked_findings
WHERE clock_position IS NOT NULL AND region IS NOT NULL AND region <> 'clock'
