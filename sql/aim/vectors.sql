-- aim: vectors
-- title: Way from target to aperture, and motion of the target, in the axes of the frame
-- grain: one row per procedure; empty where the measure leaves it out
-- note: Reads needle_error and target_motion, the rows of the measures targeting_error_mm and
--     target_motion_mm, which decide what counts and say why not; first_attempt and last_attempt are
--     attempt_facts. The first attempt is given where it was verified, stood for the aperture and has a
--     position, as the measure asks of the last. Vectors are not turned for laterality here.
SELECT
    e.procedure_id,
    e.index_date,
    e.excluded_because,
    m.excluded_because AS motion_excluded_because,
    CASE WHEN e.excluded_because IS NULL THEN e.measured END AS error_mm,
    CASE WHEN m.excluded_because IS NULL THEN m.measured END AS motion_mm,
    f.laterality,
    p.aperture_mm,
    t.attempt AS attempts,
    t.frame,
    t.needle_axis,
    t.needle_direction,
    t.compression_axis,
    t.aperture_judgement,
    CASE WHEN e.excluded_because IS NULL THEN t.error_x_mm END AS error_x_mm,
    CASE WHEN e.excluded_because IS NULL THEN t.error_y_mm END AS error_y_mm,
    CASE WHEN e.excluded_because IS NULL THEN t.error_z_mm END AS error_z_mm,
    CASE WHEN m.excluded_because IS NULL THEN t.motion_x_mm END AS motion_x_mm,
    CASE WHEN m.excluded_because IS NULL THEN t.motion_y_mm END AS motion_y_mm,
    CASE WHEN m.excluded_because IS NULL THEN t.motion_z_mm END AS motion_z_mm,
    CASE
        WHEN e.excluded_because IS NULL AND first_attempt.is_verified AND first_attempt.is_stand_in_matched
            THEN first_attempt.targeting_error_mm
    END AS first_error_mm
FROM needle_error AS e
JOIN target_motion AS m ON m.procedure_id = e.procedure_id
JOIN main.procedures AS p ON p.procedure_id = e.procedure_id
JOIN main.findings AS f ON f.finding_id = p.finding_id
LEFT JOIN last_attempt AS t ON t.procedure_id = e.procedure_id
LEFT JOIN first_attempt ON first_attempt.procedure_id = e.procedure_id
