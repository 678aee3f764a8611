-- facts: attempt_facts
-- grain: one row per procedure with a targeting record
-- title: The last attempt: verification, error vector and motion of the target
WITH later_attempt AS (
    SELECT procedure_id, max(attempt) AS attempt
    FROM scope_targeting
    WHERE attempt > 1
    GROUP BY procedure_id
),

attempt AS (
    SELECT
        t.*,
        t.seen_x_mm + t.seen_y_mm + t.seen_z_mm IS NOT NULL AS is_seen
    FROM scope_targeting AS t
    LEFT JOIN later_attempt AS l ON l.procedure_id = t.procedure_id
    WHERE t.attempt = coalesce(l.attempt, 1)
),

error AS (
    SELECT
        procedure_id,
        verification = 'done' AS is_verified,
        coalesce(stand_in <> 'radioactive_source', TRUE) OR coalesce(length_matched = 'yes', FALSE) AS is_stand_in_matched,
        attempt,
        frame,
        aperture_judgement,
        needle_axis,
        needle_direction,
        compression_axis,
        CASE WHEN needle_direction = 'minus' THEN -1 ELSE 1 END AS direction,
        achieved_x_mm - CASE WHEN is_seen THEN seen_x_mm ELSE planned_x_mm END AS x_mm,
        achieved_y_mm - CASE WHEN is_seen THEN seen_y_mm ELSE planned_y_mm END AS y_mm,
        achieved_z_mm - CASE WHEN is_seen THEN seen_z_mm ELSE planned_z_mm END AS z_mm,
        seen_x_mm - planned_x_mm AS motion_x_mm,
        seen_y_mm - planned_y_mm AS motion_y_mm,
        seen_z_mm - planned_z_mm AS motion_z_mm
    FROM attempt
)

SELECT
    procedure_id,
    is_verified,
    is_stand_in_matched,
    attempt,
    frame,
    aperture_judgement,
    needle_axis,
    needle_direction,
    compression_axis,
    x_mm AS error_x_mm,
    y_mm AS error_y_mm,
    z_mm AS error_z_mm,
    motion_x_mm,
    motion_y_mm,
    motion_z_mm,
    sqrt(x_mm * x_mm + y_mm * y_mm + z_mm * z_mm) AS targeting_error_mm,
    CASE needle_axis
        WHEN 'x' THEN sqrt(y_mm * y_mm + z_mm * z_mm)
        WHEN 'y' THEN sqrt(x_mm * x_mm + z_mm * z_mm)
        WHEN 'z' THEN sqrt(x_mm * x_mm + y_mm * y_mm)
    END AS targeting_lateral_mm,
    direction * CASE needle_axis
        WHEN 'x' THEN x_mm
        WHEN 'y' THEN y_mm
        WHEN 'z' THEN z_mm
    END AS targeting_depth_mm,
    sqrt(motion_x_mm * motion_x_mm + motion_y_mm * motion_y_mm + motion_z_mm * motion_z_mm) AS target_motion_mm
FROM error
