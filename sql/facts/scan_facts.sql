-- facts: scan_facts
-- grain: one row per procedure whose specimens were scanned with counts
-- title: Tracer concentration in the specimens over injected activity per body mass
WITH container AS (
    SELECT
        procedure_id,
        -- A row with counts is a scan of its own; the others belong to the row they name.
        CASE WHEN counts IS NULL THEN coalesce(scanned_with, specimen_id) ELSE specimen_id END AS scan_id,
        counts,
        background_counts,
        scan_seconds,
        calibration_cps_per_kbq,
        scan_at,
        scan_at_offset_min,
        mass_g
    FROM scope_specimens
    WHERE coalesce(CAST(scan_at AS DATE) <= CAST($as_of AS DATE), TRUE)
),

scan AS (
    SELECT
        procedure_id,
        max(counts - background_counts) AS net_counts,
        max(scan_seconds) FILTER (WHERE counts IS NOT NULL) AS scan_seconds,
        max(calibration_cps_per_kbq) FILTER (WHERE counts IS NOT NULL) AS calibration_cps_per_kbq,
        max(epoch_us(scan_at) - CAST(60000000 AS BIGINT) * coalesce(scan_at_offset_min, 0))
            FILTER (WHERE counts IS NOT NULL) AS scan_us,
        CASE WHEN count(*) = count(mass_g) THEN sum(mass_g) END AS mass_g
    FROM container
    GROUP BY procedure_id, scan_id
    HAVING count(counts) > 0
),

activity AS (
    SELECT
        s.procedure_id,
        s.mass_g,
        p.activity_mbq * 1000 AS injected_kbq,
        p.weight_kg * 1000 AS body_g,
        s.net_counts / s.scan_seconds / s.calibration_cps_per_kbq AS mean_kbq,
        -- Decay constant times scan time: refers the mean over the scan to its start.
        ln(2) / (60 * h.half_life_min) * s.scan_seconds AS decay_in_scan,
        ln(2) / (60 * h.half_life_min)
        * (s.scan_us - epoch_us(p.injected_at) + CAST(60000000 AS BIGINT) * coalesce(p.injected_at_offset_min, 0)) / 1000000 AS decay_before_scan
    FROM scan AS s
    JOIN scope_procedures AS p ON p.procedure_id = s.procedure_id
    LEFT JOIN tracer_half_life AS h ON h.tracer = p.tracer
),

scanned AS (
    SELECT
        procedure_id,
        injected_kbq / body_g AS injected_kbq_per_g,
        mass_g,
        mean_kbq * decay_in_scan / (1 - exp(-decay_in_scan)) * exp(decay_before_scan) AS specimen_kbq
    FROM activity
)

SELECT
    procedure_id,
    CASE
        WHEN count(*) = count(specimen_kbq + mass_g + injected_kbq_per_g)
            THEN sum(specimen_kbq) / sum(mass_g) / max(injected_kbq_per_g)
    END AS specimen_concentration_ratio
FROM scanned
GROUP BY procedure_id
