-- check: procedures_scan_before_injection
-- table: procedures
-- column: first_scan_at
-- severity: hold
-- message: first_scan_at is before injected_at.
-- hint: Correct one of the two times.
SELECT row_no
FROM checked_procedures
WHERE first_scan_at < injected_at
