-- check: pathology_amended_first
-- table: pathology
-- column: status
-- severity: review
-- message: A first version cannot be amended: the original is missing.
-- hint: Send the original as version 1.
SELECT row_no
FROM checked_pathology
WHERE version = 1 AND status = 'amended'
