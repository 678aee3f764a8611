-- check: targeting_below_frame
-- table: targeting
-- column: planned_z_mm
-- severity: hold
-- message: A coordinate is below the smallest one of its frame (negative depth).
-- hint: Correct the sign or the frame.
SELECT t.row_no
FROM checked_targeting AS t
JOIN site_frame AS f ON f.code = t.frame
WHERE t.planned_x_mm < f.x_min OR t.planned_y_mm < f.y_min OR t.planned_z_mm < f.z_min
