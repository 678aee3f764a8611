-- check: targeting_verified_without_scan
-- table: targeting
-- column: verification
-- severity: hold
-- message: No verification scan was done, but there is a position or judgement from one (contradiction).
-- hint: Correct verification, or leave the rest empty.
SELECT row_no
FROM checked_targeting
WHERE verification = 'not_done' AND (achieved_x_mm IS NOT NULL OR seen_x_mm IS NOT NULL OR aperture_judgement IN ('within', 'edge', 'outside'))
