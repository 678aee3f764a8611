-- check: targeting_error_too_long
-- table: targeting
-- column: achieved_x_mm
-- severity: hold
-- message: The targeting error is longer than the breast.
-- hint: Correct the coordinates; they must be in one frame and in mm.
-- source: common practice
SELECT row_no
FROM checked_targeting
WHERE sqrt(power(achieved_x_mm - planned_x_mm, 2) + power(achieved_y_mm - planned_y_mm, 2) + power(achieved_z_mm - planned_z_mm, 2))
    > (SELECT number FROM site_setting WHERE name = 'targeting_error_mm_max')
