-- record: offsets
-- title: Last needle placement of each procedure, as the way from target to aperture
-- grain: one row per procedure whose last attempt has an achieved position
-- note: The target is taken where it was re-seen on the verification scan when all three
--     coordinates are given, else where it was planned. Which of these procedures count is
--     decided by the measure targeting_error_mm, not here.
WITH last_attempt AS (
    SELECT
        t.*,
        t.seen_x_mm + t.seen_y_mm + t.seen_z_mm IS NOT NULL AS is_seen,
        row_number() OVER (PARTITION BY t.procedure_id ORDER BY t.attempt DESC) AS place_from_last
    FROM main.targeting AS t
)

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
    t.achieved_x_mm - CASE WHEN t.is_seen THEN t.seen_x_mm ELSE t.planned_x_mm END AS error_x_mm,
    t.achieved_y_mm - CASE WHEN t.is_seen THEN t.seen_y_mm ELSE t.planned_y_mm END AS error_y_mm,
    t.achieved_z_mm - CASE WHEN t.is_seen THEN t.seen_z_mm ELSE t.planned_z_mm END AS error_z_mm
FROM last_attempt AS t
JOIN main.procedures AS p ON p.procedure_id = t.procedure_id
JOIN main.findings AS f ON f.finding_id = p.finding_id
WHERE t.place_from_last = 1
    AND t.achieved_x_mm + t.achieved_y_mm + t.achieved_z_mm IS NOT NULL
ORDER BY p.started_at, p.procedure_id
