-- check: targeting_achieved_incomplete
-- table: targeting
-- column: achieved_x_mm
-- severity: hold
-- message: Achieved coordinates are given in part: all three or none.
-- hint: Fill in x, y and z, or leave all three empty.
SELECT row_no
FROM checked_targeting
WHERE (achieved_x_mm IS NULL) <> (achieved_y_mm IS NULL) OR (achieved_x_mm IS NULL) <> (achieved_z_mm IS NULL)
