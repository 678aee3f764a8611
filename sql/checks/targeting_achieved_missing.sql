-- check: targeting_achieved_missing
-- table: targeting
-- column: achieved_x_mm
-- severity: hold
-- message: The achieved position is required where a verification scan was done and nobody judged the target against the aperture.
-- hint: Give the three coordinates, or the judgement.
SELECT row_no
FROM checked_targeting
WHERE verification = 'done' AND aperture_judgement IS NULL AND achieved_x_mm IS NULL AND achieved_y_mm IS NULL AND achieved_z_mm IS NULL
