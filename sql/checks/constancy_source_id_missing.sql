-- check: constancy_source_id_missing
-- table: constancy
-- column: source_id
-- severity: hold
-- message: source_id is required for a check of counts.
-- hint: Fill it in.
SELECT row_no
FROM checked_constancy
WHERE kind = 'counts' AND source_id IS NULL
