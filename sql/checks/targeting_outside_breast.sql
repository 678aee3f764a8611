-- check: targeting_outside_breast
-- table: targeting
-- column: planned_z_mm
-- severity: hold
-- message: The target lies beyond the compressed breast: its coordinate is greater than compression_mm.
-- hint: Correct the coordinate or compression_mm.
SELECT t.row_no
FROM checked_targeting AS t
JOIN site_frame AS f ON f.code = t.frame
JOIN known_visits AS p ON p.procedure_id = t.procedure_id
WHERE (t.compression_axis = 'x' AND f.x_min = 0 AND t.planned_x_mm > p.compression_mm)
    OR (t.compression_axis = 'y' AND f.y_min = 0 AND t.planned_y_mm > p.compression_mm)
    OR (t.compression_axis = 'z' AND f.z_min = 0 AND t.planned_z_mm > p.compression_mm)
