-- check: targeting_seen_incomplete
-- table: targeting
-- column: seen_x_mm
-- severity: hold
-- message: Seen coordinates are given in part: all three or none.
-- hint: Fill in x, y and z, or leave all three empty.
SELECT row_no
FROM checked_targeting
WHERE (seen_x_mm IS NULL) <> (seen_y_mm IS NULL) OR (seen_x_mm IS NULL) <> (seen_z_mm IS NULL)
