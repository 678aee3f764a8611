-- record: offsets
-- title: Last needle placement of each procedure, as the way from target to aperture
-- grain: one row per named procedure whose last attempt has an achieved position
-- note: Reads last_attempt, which is attempt_facts: the target is taken where it was re-seen on
--     the verification scan when all three coordinates are given, else where it was planned. Which
--     procedures count is decided by the measure targeting_error_mm, not here.
SELECT
    p.procedure_id,
    CAST(p.started_at AS DATE) AS started_on,
    f.laterality,
    t.frame,
    t.needle_axis,
    coalesce(t.needle_direction, 'plus') AS needle_direction,
    t.compression_axis,
    p.aperture_mm,
    t.aperture_judgement,
    t.error_x_mm,
    t.error_y_mm,
    t.error_z_mm
FROM last_attempt AS t
JOIN main.procedures AS p ON p.procedure_id = t.procedure_id
JOIN main.findings AS f ON f.finding_id = p.finding_id
WHERE t.error_x_mm + t.error_y_mm + t.error_z_mm IS NOT NULL
    AND t.procedure_id IN (SELECT unnest($procedure_ids))
ORDER BY p.started_at, p.procedure_id
