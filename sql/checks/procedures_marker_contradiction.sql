-- check: procedures_marker_contradiction
-- table: procedures
-- column: marker
-- severity: hold
-- message: A marker shape or shift is given although no marker was placed (contradiction).
-- hint: Correct marker, or leave shape and shift empty.
SELECT row_no
FROM checked_procedures
WHERE marker IN ('not_placed', 'failed') AND (marker_shape IS NOT NULL OR marker_shift_x_mm IS NOT NULL OR marker_shift_y_mm IS NOT NULL OR marker_shift_z_mm IS NOT NULL)
