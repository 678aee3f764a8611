-- measure: sampling_probability
-- kind: sampling
-- title: Probability that the target was sampled
-- question: How much of the target lay in what was sampled, and how sure is that?
-- group: targeting
-- unit: procedure (one target, one visit); cluster: the patient
-- value: expected share of the target inside the sampled volume, and the probability that at least the stated
--     share of it (site.toml) is inside
-- value_unit: share
-- denominator: sampled vacuum-assisted procedures with a usable position and everything else that the geometry needs
-- exclusions: not sampled (status not completed); not vacuum-assisted (another device, or none recorded: the
--     sampled volume is that of a side aperture with suction); no targeting record (no needle placement was
--     recorded); not verified (no verification scan at the last attempt); stand-in not matched (a stand-in that
--     is said not to match the sampling device in length, or a radioactive source not stated to); marked point
--     not stated (nobody recorded which point was marked); marked point not carried to the aperture (tip or
--     centre of the source marked, its distance to the centre of the aperture empty); position not recorded (no
--     coordinates of the aperture); needle_axis oblique (no axis along which the needle advanced); needle
--     diameter not known (gauge empty, or not in the list of this file); aperture not recorded (length of the
--     aperture empty); target size not recorded (largest diameter empty); slice thickness not known (neither
--     recorded nor, under tracer guidance, compression thickness and the site's slices per view); measurement
--     uncertainty not known (neither recorded nor stated in site.toml)
-- window: none
-- interval: none; bands over the reach of the tissue
-- direction: higher
-- source: geometry; outer diameters by gauge from the standard gauge chart; slice uncertainty: JCGM 100:2008, 4.3.7
-- note: The target is a sphere of its recorded largest diameter. The sampled volume is a cylinder around the centre
--     of the aperture along the needle, as long as the aperture, its radius half the outer diameter of the needle
--     plus the reach of the tissue (local, shown as a band), cut to the hours sampled (30 degrees each). Where the
--     hours are not known, or cannot be placed in the frame, the two extremes are shown: all around, and one hour
--     away from the target. The place of the target is that re-seen on the verification scan, else as planned.
--     Each coordinate read from slices is uncertain by slice / sqrt(12) along the axis of compression, the coarse
--     one, and by the recorded measurement uncertainty across it; both points are read, hence times sqrt(2). A
--     target not re-seen may have moved: by the root mean square of the motion in this registry. Errors are taken
--     as normal and independent, and every place as equally likely before the measurement. Never a depth to set.
-- caution: An aid to discussion, and never a reason to omit a step of the local protocol.
WITH needle AS (
    SELECT gauge, outer_diameter_mm
    FROM (
        VALUES
        (7, 4.572), (8, 4.191), (9, 3.759), (10, 3.404), (11, 3.048), (12, 2.769), (14, 2.108)
    ) AS chart (gauge, outer_diameter_mm)
),

setting AS (
    SELECT
        max(number) FILTER (WHERE name = 'slices_per_view') AS slices_per_view,
        max(number) FILTER (WHERE name = 'measurement_sd_mm') AS measurement_sd_mm
    FROM site_setting
),

last_attempt AS (
    SELECT procedure_id, max(attempt) AS attempt
    FROM targeting
    GROUP BY procedure_id
),

placed AS (
    SELECT
        t.procedure_id,
        t.length_matched,
        t.marked_point,
        t.point_to_aperture_mm,
        t.frame,
        t.needle_axis,
        t.needle_direction,
        t.compression_axis,
        t.slice_mm,
        t.measurement_sd_mm,
        t.planned_x_mm,
        t.planned_y_mm,
        t.planned_z_mm,
        t.achieved_x_mm,
        t.achieved_y_mm,
        t.achieved_z_mm,
        t.seen_x_mm,
        t.seen_y_mm,
        t.seen_z_mm,
        t.seen_x_mm + t.seen_y_mm + t.seen_z_mm IS NOT NULL AS is_seen_again
    FROM targeting AS t
    JOIN last_attempt AS l ON l.procedure_id = t.procedure_id AND l.attempt = t.attempt
),

unit AS (
    SELECT
        f.procedure_id,
        f.started_on,
        f.is_sampled,
        f.is_targeting_recorded,
        f.is_verified,
        f.is_stand_in_matched AND coalesce(t.length_matched <> 'no', TRUE) AS is_stand_in_matched,
        f.device,
        t.marked_point,
        t.point_to_aperture_mm,
        t.frame,
        t.needle_axis,
        t.needle_direction,
        t.compression_axis,
        t.is_seen_again,
        t.achieved_x_mm - CASE WHEN t.is_seen_again THEN t.seen_x_mm ELSE t.planned_x_mm END AS error_x_mm,
        t.achieved_y_mm - CASE WHEN t.is_seen_again THEN t.seen_y_mm ELSE t.planned_y_mm END AS error_y_mm,
        t.achieved_z_mm - CASE WHEN t.is_seen_again THEN t.seen_z_mm ELSE t.planned_z_mm END AS error_z_mm,
        n.outer_diameter_mm,
        p.gauge,
        p.aperture_mm,
        p.sampled_hours,
        g.size_mm,
        g.laterality,
        t.slice_mm IS NOT NULL AS is_slice_recorded,
        coalesce(
            t.slice_mm,
            CASE WHEN f.is_tracer_guided THEN p.compression_mm / s.slices_per_view END
        ) AS slice_mm,
        t.measurement_sd_mm IS NOT NULL AS is_measurement_sd_recorded,
        coalesce(t.measurement_sd_mm, s.measurement_sd_mm) AS measurement_sd_mm
    FROM procedure_facts AS f
    JOIN procedures AS p ON p.procedure_id = f.procedure_id
    JOIN findings AS g ON g.finding_id = p.finding_id
    LEFT JOIN placed AS t ON t.procedure_id = f.procedure_id
    LEFT JOIN needle AS n ON n.gauge = p.gauge
    CROSS JOIN setting AS s
    WHERE f.started_on <= CAST($as_of AS DATE)
)

SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN coalesce(device <> 'vacuum_assisted', TRUE) THEN 'not vacuum-assisted'
        WHEN NOT is_targeting_recorded THEN 'no targeting record'
        WHEN NOT is_verified THEN 'not verified'
        WHEN NOT is_stand_in_matched THEN 'stand-in not matched'
        WHEN marked_point IS NULL THEN 'marked point not stated'
        WHEN marked_point <> 'aperture_centre' AND point_to_aperture_mm IS NULL
            THEN 'marked point not carried to the aperture'
        WHEN error_x_mm + error_y_mm + error_z_mm IS NULL THEN 'position not recorded'
        WHEN needle_axis = 'oblique' THEN 'needle_axis oblique'
        WHEN outer_diameter_mm IS NULL THEN 'needle diameter not known'
        WHEN aperture_mm IS NULL THEN 'aperture not recorded'
        WHEN size_mm IS NULL THEN 'target size not recorded'
        WHEN slice_mm IS NULL THEN 'slice thickness not known'
        WHEN measurement_sd_mm IS NULL THEN 'measurement uncertainty not known'
    END AS excluded_because,
    CAST(size_mm AS DOUBLE) AS size_mm,
    CAST(gauge AS INTEGER) AS gauge,
    CAST(outer_diameter_mm AS DOUBLE) AS outer_diameter_mm,
    CAST(aperture_mm AS DOUBLE) AS aperture_mm,
    sampled_hours,
    laterality,
    frame,
    needle_axis,
    needle_direction,
    compression_axis,
    CAST(error_x_mm AS DOUBLE) AS error_x_mm,
    CAST(error_y_mm AS DOUBLE) AS error_y_mm,
    CAST(error_z_mm AS DOUBLE) AS error_z_mm,
    is_seen_again,
    CAST(slice_mm AS DOUBLE) AS slice_mm,
    is_slice_recorded,
    CAST(measurement_sd_mm AS DOUBLE) AS measurement_sd_mm,
    is_measurement_sd_recorded
FROM unit
