-- check: specimens_late_scan
-- table: specimens
-- column: scan_at
-- severity: review
-- message: The specimens were scanned very long after the injection: the decay correction is large.
-- hint: Confirm the times; the corrected value is not used until then.
SELECT s.row_no
FROM checked_specimens AS s
JOIN known_visits AS p ON p.procedure_id = s.procedure_id
WHERE s.counts IS NOT NULL
    AND date_diff('minute', p.injected_at, s.scan_at) / 60.0
    > (SELECT number FROM site_setting WHERE name = 'specimen_scan_hours_max')
