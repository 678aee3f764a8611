-- check: targeting_datum_missing
-- table: targeting
-- column: depth_datum
-- severity: hold
-- message: depth_datum is required where target_depth_mm is given.
-- hint: Say whether depth is measured from the guide or from the skin.
SELECT row_no
FROM checked_targeting
WHERE target_depth_mm IS NOT NULL AND depth_datum IS NULL
