-- check: pathology_versions_not_consecutive
-- table: pathology
-- column: version
-- severity: hold
-- message: The versions of this report do not run 1, 2, 3 without a gap: an earlier one is missing.
-- hint: Send the missing version, the first one included.
-- series: report_id, procedure_id, specimen_id, version
WITH numbered AS (
    SELECT report_id, procedure_id, coalesce(specimen_id, '') AS container
    FROM known_pathology
    GROUP BY report_id, procedure_id, coalesce(specimen_id, '')
    HAVING max(version) <> count(*)
)

SELECT r.row_no
FROM checked_pathology AS r
JOIN numbered
    ON numbered.report_id = r.report_id
    AND numbered.procedure_id = r.procedure_id
    AND numbered.container = coalesce(r.specimen_id, '')
