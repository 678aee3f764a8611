-- flags: proposed
-- title: What in the record of a procedure is worth a question at the meeting
-- grain: one row per procedure and rule that fires
-- note: Flags are prompts and decide nothing. Suspicion is low up to category 4A, middle for 4 and 4B, high for
--     4C, 5 and 6. Which lesion explains which finding stands in sql/vocabulary/expected_pathology.csv, with the
--     rows that the site adds; sentence, limit and source of each rule in sql/vocabulary/flag_rules.csv.
WITH scope_pathology AS NOT MATERIALIZED (
    SELECT * FROM main.pathology WHERE procedure_id IN (SELECT unnest($ids))
),

version_of AS (
    SELECT
        v.procedure_id,
        v.status,
        v.lesion,
        v.other_lesions,
        v.calcifications,
        d.rank,
        row_number() OVER (
            PARTITION BY v.report_id, v.procedure_id, coalesce(v.specimen_id, '')
            ORDER BY v.version DESC
        ) AS place_from_last
    FROM scope_pathology AS v
    JOIN code_rank AS d ON d.list = 'diagnosis' AND d.code = v.diagnosis
    WHERE v.status <> 'preliminary' AND v.reported_on <= CAST($as_of AS DATE)
),

reported AS (
    SELECT
        procedure_id,
        -- '' stands for empty: arg_max would pass over it to the lesion of a lesser diagnosis.
        nullif(arg_max(coalesce(lesion, ''), rank), '') AS lesion,
        string_agg(DISTINCT other_lesions, ';') AS other_lesions,
        bool_or(calcifications = 'yes') AS has_calcifications,
        bool_or(calcifications = 'no') AS lacks_calcifications
    FROM version_of
    WHERE place_from_last = 1 AND status <> 'retracted'
    GROUP BY procedure_id
),

last_placement AS (
    SELECT procedure_id, arg_max(compression_axis, attempt) AS compression_axis
    FROM main.targeting
    WHERE procedure_id IN (SELECT unnest($ids))
    GROUP BY procedure_id
),

unit AS (
    SELECT
        f.*,
        p.status_reason,
        coalesce(r.lesion, CASE WHEN f.diagnosis = 'normal' THEN 'normal_tissue' END) AS lesion,
        r.other_lesions,
        coalesce(r.has_calcifications, FALSE) AS has_calcifications,
        coalesce(r.lacks_calcifications, FALSE) AS lacks_calcifications,
        abs(CASE t.compression_axis
            WHEN 'x' THEN p.marker_shift_x_mm
            WHEN 'y' THEN p.marker_shift_y_mm
            WHEN 'z' THEN p.marker_shift_z_mm
        END) AS marker_shift_along_mm,
        CASE
            WHEN f.assessment IN ('4C', '5', '6') THEN 'high'
            WHEN f.assessment IN ('4', '4B') THEN 'middle'
            ELSE 'low'
        END AS suspicion
    FROM procedure_facts AS f
    JOIN main.procedures AS p ON p.procedure_id = f.procedure_id
    LEFT JOIN reported AS r ON r.procedure_id = f.procedure_id
    LEFT JOIN last_placement AS t ON t.procedure_id = f.procedure_id
    WHERE f.procedure_id IN (SELECT unnest($ids))
),

-- A further lesion that explains the finding is enough: the best explanation counts.
explanation AS (
    SELECT
        u.procedure_id,
        min(CASE e.expectation WHEN 'expected' THEN 1 WHEN 'weak' THEN 2 WHEN 'unexplained' THEN 3 END) AS place
    FROM unit AS u
    JOIN expected_pathology AS e
        ON e.finding_type = u.finding_type AND e.suspicion = u.suspicion
        AND (e.lesion = u.lesion OR list_contains(string_split(u.other_lesions, ';'), e.lesion))
    WHERE u.is_sampled AND (u.is_benign_result OR u.diagnosis = 'high_risk')
    GROUP BY u.procedure_id
),

non_specific AS (
    SELECT procedure_id FROM explanation WHERE place > 1
    UNION
    SELECT procedure_id FROM unit WHERE is_benign_result AND lesion IS NULL
),

fired AS (
    SELECT procedure_id, 'pathology_unexplained' AS rule, CAST(NULL AS DOUBLE) AS value
    FROM explanation WHERE place = 3
    UNION ALL
    SELECT procedure_id, 'pathology_weak', NULL FROM explanation WHERE place = 2
    UNION ALL
    SELECT procedure_id, 'malignant_low_category', NULL FROM unit WHERE is_malignant AND assessment IN ('1', '2', '3')
    UNION ALL
    SELECT procedure_id, 'insufficient_tissue', NULL FROM unit WHERE is_sampled AND diagnosis = 'insufficient'
    UNION ALL
    SELECT procedure_id, 'normal_tissue_for_mass', NULL
    FROM unit WHERE is_sampled AND finding_type = 'mass' AND (b_category = 'B1' OR diagnosis = 'normal')
    UNION ALL
    SELECT procedure_id, 'high_risk_lesion', NULL FROM unit WHERE is_sampled AND diagnosis = 'high_risk'
    UNION ALL
    -- Where the counts could not have shown it, the reading says nothing of the target.
    SELECT
        procedure_id,
        CASE WHEN procedure_id IN (SELECT unnest($too_few)) THEN 'too_few_counts' ELSE 'no_uptake_in_specimen' END,
        NULL
    FROM unit
    WHERE is_sampled AND is_tracer_guided AND is_uptake_read AND NOT is_uptake_seen AND NOT is_malignant AND is_reported
        AND EXISTS (SELECT 1 FROM main.specimens AS s WHERE s.procedure_id = unit.procedure_id AND s.uptake_seen = 'no')
    UNION ALL
    SELECT procedure_id, 'uptake_without_explanation', NULL
    FROM unit
    WHERE is_tracer_guided AND is_uptake_seen AND is_benign_result
        AND procedure_id IN (SELECT n.procedure_id FROM non_specific AS n)
    UNION ALL
    SELECT procedure_id, 'calcifications_not_in_specimen', NULL
    FROM unit
    WHERE is_sampled AND finding_type = 'calcifications' AND is_radiograph_read AND NOT is_calcification_seen
        AND NOT is_malignant
    UNION ALL
    SELECT procedure_id, 'calcifications_not_at_histology', NULL
    FROM unit
    WHERE is_sampled AND finding_type = 'calcifications' AND lacks_calcifications AND NOT has_calcifications
        AND NOT is_malignant
    UNION ALL
    SELECT procedure_id, 'target_not_verified', NULL
    FROM unit
    WHERE is_sampled AND guidance IN ('pet_tracer', 'gamma_tracer', 'mri') AND NOT is_verified AND NOT is_malignant
    UNION ALL
    SELECT procedure_id, 'stand_in_not_matched', NULL
    FROM unit WHERE is_sampled AND is_verified AND NOT is_stand_in_matched AND NOT is_malignant
    UNION ALL
    SELECT procedure_id, 'outside_aperture', NULL
    FROM unit WHERE is_sampled AND is_verified AND aperture_judgement = 'outside' AND NOT is_malignant
    UNION ALL
    SELECT procedure_id, 'target_unchanged', NULL
    FROM unit WHERE is_sampled AND residual = 'unchanged' AND NOT is_malignant
    UNION ALL
    SELECT procedure_id, 'marker_displaced', marker_shift_along_mm
    FROM unit WHERE marker = 'placed' AND marker_shift_along_mm > $marker_displaced
    UNION ALL
    SELECT procedure_id, 'cancelled_unseen', NULL
    FROM unit WHERE status = 'cancelled' AND status_reason IN ('target_not_seen', 'no_uptake')
    UNION ALL
    SELECT procedure_id, 'tracer_only_benign', NULL
    FROM unit WHERE is_benign_result AND correlate = 'none' AND is_tracer_guided
)

SELECT
    d.procedure_id,
    d.rule,
    d.value,
    u.finding_type,
    u.assessment,
    u.guidance,
    u.lesion
FROM fired AS d
JOIN unit AS u ON u.procedure_id = d.procedure_id
WHERE d.rule IN (SELECT unnest($rules))
