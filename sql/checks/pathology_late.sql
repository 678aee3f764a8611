-- check: pathology_late
-- table: pathology
-- column: reported_on
-- severity: warning
-- message: The first version of the report came very long after the procedure.
-- hint: Make sure that it belongs to this procedure.
SELECT r.row_no
FROM checked_pathology AS r
JOIN known_visits AS p ON p.procedure_id = r.procedure_id
WHERE r.version = 1
    AND date_diff('day', p.started_on, r.reported_on)
    > (SELECT number FROM site_setting WHERE name = 'report_days_warning')
