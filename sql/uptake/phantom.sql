-- uptake: phantom
-- title: Targeting errors on a phantom
-- grain: one row per constancy check of the kind targeting with all three components
-- note: Error is phantom target minus reached point, in the axes of the scanner.
SELECT
    check_id,
    site,
    coalesce(scanner, 'not recorded') AS scanner,
    CAST(done_at AS DATE) AS done_on,
    error_x_mm,
    error_y_mm,
    error_z_mm
FROM main.constancy
WHERE kind = 'targeting'
    AND error_x_mm + error_y_mm + error_z_mm IS NOT NULL
    AND CAST(done_at AS DATE) <= CAST($as_of AS DATE)
ORDER BY site, scanner, done_at, check_id
