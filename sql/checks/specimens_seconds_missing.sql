-- check: specimens_seconds_missing
-- table: specimens
-- column: scan_seconds
-- severity: hold
-- message: scan_seconds is required where counts are given.
-- hint: Give the duration of the scan.
SELECT row_no
FROM checked_specimens
WHERE counts IS NOT NULL AND scan_seconds IS NULL
