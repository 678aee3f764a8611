-- check: constancy_error_missing
-- table: constancy
-- column: error_x_mm
-- severity: hold
-- message: The phantom error needs x, y and z.
-- hint: Fill in all three.
SELECT row_no
FROM checked_constancy
WHERE kind = 'targeting' AND (error_x_mm IS NULL OR error_y_mm IS NULL OR error_z_mm IS NULL)
