-- uptake: scans
-- title: Scans of the specimens, each counted once however many containers lay in it
-- grain: one row per scan; containers that name another row in scanned_with belong to the scan of that row
-- note: A container with counts of its own is a scan of its own. A row without counts is a scan or a
--     reading whose counts nobody recorded. Containers with neither are left out.
WITH container AS (
    SELECT
        s.procedure_id,
        CASE WHEN s.counts IS NULL THEN coalesce(s.scanned_with, s.specimen_id) ELSE s.specimen_id END AS scan_id,
        s.specimen_id,
        s.taken_order,
        s.mass_g,
        s.counts,
        s.background_counts,
        s.background_kind,
        s.scan_seconds,
        s.calibration_cps_per_kbq,
        s.scan_at,
        epoch_us(s.scan_at) - CAST(60000000 AS BIGINT) * coalesce(s.scan_at_offset_min, 0) AS scan_us,
        s.reader,
        s.read_at,
        CASE
            WHEN coalesce(CAST(s.read_at AS DATE), CAST(s.scan_at AS DATE)) > CAST($as_of AS DATE) THEN NULL
            WHEN s.uptake_seen = 'not_scanned' THEN NULL
            ELSE s.uptake_seen
        END AS uptake_seen
    FROM main.specimens AS s
    WHERE coalesce(CAST(s.scan_at AS DATE) <= CAST($as_of AS DATE), TRUE)
        AND coalesce(CAST($procedure_id AS VARCHAR), s.procedure_id) = s.procedure_id
),

scan AS (
    SELECT
        procedure_id,
        scan_id,
        list(specimen_id ORDER BY taken_order, specimen_id) AS containers,
        CASE WHEN count(*) = count(mass_g) THEN sum(mass_g) END AS mass_g,
        max(counts) AS counts,
        max(background_counts) FILTER (WHERE specimen_id = scan_id) AS background_counts,
        max(background_kind) FILTER (WHERE specimen_id = scan_id) AS background_kind,
        max(scan_seconds) FILTER (WHERE specimen_id = scan_id) AS scan_seconds,
        max(calibration_cps_per_kbq) FILTER (WHERE specimen_id = scan_id) AS calibration_cps_per_kbq,
        max(scan_at) FILTER (WHERE specimen_id = scan_id) AS scan_at,
        max(scan_us) FILTER (WHERE specimen_id = scan_id) AS scan_us,
        -- A reading of one container is a reading of the scan: any yes, else any doubt, else no.
        CASE
            WHEN bool_or(uptake_seen = 'yes') THEN 'yes'
            WHEN bool_or(uptake_seen = 'equivocal') THEN 'equivocal'
            WHEN bool_or(uptake_seen = 'no') THEN 'no'
        END AS uptake_seen
    FROM container
    GROUP BY procedure_id, scan_id
    HAVING count(counts) + count(scan_at) + count(uptake_seen) > 0
)

SELECT
    s.* EXCLUDE (scan_us),
    f.started_on,
    p.tracer,
    p.activity_mbq,
    p.weight_kg,
    (s.scan_us - epoch_us(p.injected_at) + CAST(60000000 AS BIGINT) * coalesce(p.injected_at_offset_min, 0))
    / 60000000 AS minutes_since_injection,
    -- A lesion's standardised uptake value is a figure of positron tomography.
    CASE WHEN p.guidance = 'gamma_tracer' THEN NULL ELSE g.suv_max END AS suv_max,
    (SELECT max(number) FROM site_setting WHERE name = 'uptake_reference_ratio') AS reference_ratio
FROM scan AS s
JOIN procedure_facts AS f ON f.procedure_id = s.procedure_id
JOIN main.procedures AS p ON p.procedure_id = s.procedure_id
JOIN main.findings AS g ON g.finding_id = p.finding_id
WHERE f.started_on BETWEEN CAST($start AS DATE) AND CAST($end AS DATE)
ORDER BY f.started_on, s.procedure_id, s.scan_id
