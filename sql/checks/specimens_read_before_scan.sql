-- check: specimens_read_before_scan
-- table: specimens
-- column: read_at
-- severity: hold
-- message: read_at is before scan_at.
-- hint: Correct one of the two times.
SELECT row_no
FROM checked_specimens
WHERE read_at < scan_at
