-- uptake: readings
-- title: What the readers saw in the specimens of a procedure, before or after they could know the report
-- grain: one row per sampled procedure with tracer in question: read, or with a concentration ratio
-- note: A reading is blind to the report when it was made before the day of the first report, or while there
--     is none. A reading on that very day may have come before or after it. Of several containers the
--     least blind one counts. The lesions are those of the reports that count.
WITH reading AS (
    SELECT
        s.procedure_id,
        s.uptake_seen = 'equivocal' AS is_equivocal,
        CASE
            WHEN s.read_at IS NULL THEN 'time not recorded'
            WHEN f.first_report_on IS NULL OR CAST(s.read_at AS DATE) < f.first_report_on THEN 'before'
            WHEN CAST(s.read_at AS DATE) = f.first_report_on THEN 'same day'
            ELSE 'after'
        END AS against_report
    FROM main.specimens AS s
    JOIN procedure_facts AS f ON f.procedure_id = s.procedure_id
    WHERE s.uptake_seen IN ('yes', 'no', 'equivocal')
        AND coalesce(
            coalesce(CAST(s.read_at AS DATE), CAST(s.scan_at AS DATE)) <= CAST($as_of AS DATE), TRUE
        )
),

read_when AS (
    SELECT
        procedure_id,
        bool_or(is_equivocal) AS is_equivocal,
        CASE
            WHEN bool_or(against_report = 'after') THEN 'after'
            WHEN bool_or(against_report = 'time not recorded') THEN 'time not recorded'
            WHEN bool_or(against_report = 'same day') THEN 'same day'
            ELSE 'before'
        END AS against_report
    FROM reading
    GROUP BY procedure_id
),

version_of AS (
    SELECT
        v.procedure_id,
        v.status,
        v.lesion,
        v.explains_finding,
        row_number() OVER (
            PARTITION BY v.report_id, v.procedure_id, coalesce(v.specimen_id, '')
            ORDER BY v.version DESC
        ) AS place_from_last
    FROM main.pathology AS v
    WHERE v.status <> 'preliminary' AND v.reported_on <= CAST($as_of AS DATE)
),

reported AS (
    SELECT
        procedure_id,
        list(DISTINCT lesion ORDER BY lesion) FILTER (WHERE lesion IS NOT NULL) AS lesions,
        bool_or(coalesce(explains_finding IN ('main', 'other'), FALSE)) AS is_finding_explained
    FROM version_of
    WHERE place_from_last = 1 AND status <> 'retracted'
    GROUP BY procedure_id
)

SELECT
    f.procedure_id,
    f.patient_no,
    f.started_on,
    f.diagnosis,
    f.is_malignant,
    f.is_benign_result,
    f.is_tracer_guided,
    f.is_uptake_read,
    f.is_uptake_seen,
    f.is_uptake_read AND NOT f.is_uptake_seen AND coalesce(w.is_equivocal, FALSE) AS is_equivocal,
    f.is_index,
    date_diff('day', f.started_on, CAST($as_of AS DATE)) >= 730 AS is_window_complete,
    f.is_resolved,
    coalesce(date_diff('day', f.started_on, f.later_cancer_on) <= 730, FALSE) AS has_later_cancer,
    w.against_report,
    r.lesions,
    coalesce(r.is_finding_explained, FALSE) AS is_finding_explained,
    f.specimen_concentration_ratio,
    CASE WHEN f.guidance = 'gamma_tracer' THEN NULL ELSE g.suv_max END AS suv_max
FROM procedure_facts AS f
JOIN main.findings AS g ON g.finding_id = f.finding_id
LEFT JOIN read_when AS w ON w.procedure_id = f.procedure_id
LEFT JOIN reported AS r ON r.procedure_id = f.procedure_id
WHERE f.is_sampled
    AND (f.is_uptake_read OR f.specimen_concentration_ratio IS NOT NULL)
    AND f.started_on BETWEEN CAST($start AS DATE) AND CAST($end AS DATE)
ORDER BY f.started_on, f.procedure_id
