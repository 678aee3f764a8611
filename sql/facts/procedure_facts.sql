-- facts: procedure_facts
-- grain: one row per procedure that had started
-- title: Everything that the measures ask of a procedure
WITH joined AS (
    SELECT
        p.*,
        u.root_id AS chain_root,
        u.started_on,
        u.is_sampled,
        u.patient,
        n.patient_no,
        n.procedures AS patient_procedures,
        n.died_on,
        f.assessment,
        f.finding_type,
        f.correlate,
        f.found_on,
        r.procedure_id IS NOT NULL AS is_reported,
        r.first_report_on,
        r.diagnosis,
        r.b_rank,
        v.first_joint_review_on,
        v.first_conclusive_on,
        v.first_conclusive,
        v.latest_determination,
        coalesce(c.is_sampled_before, FALSE) AS is_sampled_before,
        c.first_repeat_on,
        c.first_reported_repeat_on,
        e.first_excision_on,
        e.excision_diagnosis,
        e.adjudicated_excision_on,
        least(c.first_malignant_repeat_on, e.first_malignant_event_on) AS later_cancer_on,
        least(c.first_breast_cancer_repeat_on, e.first_breast_cancer_event_on) AS later_breast_cancer_on,
        e.clear_until,
        o.sampled_otherwise_on,
        k.grade_30_days,
        t.procedure_id IS NOT NULL AS is_targeting_recorded,
        t.is_verified,
        t.is_stand_in_matched,
        t.aperture_judgement,
        t.needle_axis,
        t.targeting_error_mm,
        t.targeting_lateral_mm,
        t.targeting_depth_mm,
        t.target_motion_mm,
        s.is_uptake_read,
        s.is_uptake_seen,
        s.is_radiograph_read,
        s.is_calcification_seen,
        s.containers,
        s.tissue_mass_g,
        a.specimen_concentration_ratio
    -- The widest last: every join lays out anew what the joins before it brought. Specimens late, too: in
    -- a refresh the engine turns their joins round, and such a join passes on its rows in two turns.
    FROM unit_facts AS u
    JOIN patient_facts AS n ON n.patient = u.patient
    LEFT JOIN otherwise_facts AS o ON o.procedure_id = u.procedure_id
    LEFT JOIN complication_facts AS k ON k.procedure_id = u.procedure_id
    LEFT JOIN chain_facts AS c ON c.procedure_id = u.procedure_id
    LEFT JOIN report_facts AS r ON r.procedure_id = u.procedure_id
    LEFT JOIN review_facts AS v ON v.procedure_id = u.procedure_id
    LEFT JOIN event_facts AS e ON e.procedure_id = u.procedure_id
    LEFT JOIN attempt_facts AS t ON t.procedure_id = u.procedure_id
    JOIN scope_findings AS f ON f.finding_id = u.finding_id
    LEFT JOIN scan_facts AS a ON a.procedure_id = u.procedure_id
    LEFT JOIN specimen_facts AS s ON s.procedure_id = u.procedure_id
    JOIN scope_procedures AS p ON p.procedure_id = u.procedure_id
)

SELECT
    procedure_id,
    finding_id,
    chain_root AS root_id,
    patient,
    patient_no,
    patient_procedures,
    started_on,
    site,
    operator,
    guidance,
    approach,
    assessment,
    finding_type,
    indication,
    correlate,
    device,
    gauge,
    status,
    is_sampled,
    is_sampled AND NOT is_sampled_before AS is_index,
    guidance IN ('pet_tracer', 'gamma_tracer') AS is_tracer_guided,
    target_seen,
    residual,
    safe_margin_mm,
    safe_margin_mm - aperture_mm / 2 - dead_tip_mm AS tip_clearance_mm,
    tracer,
    (epoch_us(coalesce(first_scan_at, started_at)) - epoch_us(injected_at)) / 60000000
    - coalesce(
        CASE WHEN first_scan_at IS NULL THEN started_at_offset_min ELSE first_scan_at_offset_min END
        - injected_at_offset_min,
        0
    ) AS uptake_minutes,
    marker,
    post_mammogram,
    sqrt(
        marker_shift_x_mm * marker_shift_x_mm
        + marker_shift_y_mm * marker_shift_y_mm
        + marker_shift_z_mm * marker_shift_z_mm
    ) AS marker_shift_mm,
    date_diff('day', found_on, started_on) AS finding_to_biopsy_days,
    is_reported,
    first_report_on,
    diagnosis,
    coalesce(diagnosis IN ('in_situ', 'invasive', 'other_malignant'), FALSE) AS is_malignant,
    coalesce(diagnosis IN ('in_situ', 'invasive'), FALSE) AS is_breast_cancer,
    coalesce(diagnosis IN ('normal', 'benign'), FALSE) AS is_benign_result,
    CASE b_rank WHEN 1 THEN 'B1' WHEN 2 THEN 'B2' WHEN 3 THEN 'B3' WHEN 4 THEN 'B4' WHEN 5 THEN 'B5' END AS b_category,
    first_joint_review_on,
    first_conclusive_on,
    first_conclusive,
    latest_determination,
    first_repeat_on,
    first_reported_repeat_on,
    first_excision_on,
    excision_diagnosis,
    adjudicated_excision_on,
    later_cancer_on,
    later_breast_cancer_on,
    clear_until,
    coalesce(date_diff('day', started_on, later_cancer_on) <= 730, FALSE)
    OR coalesce(date_diff('day', started_on, first_excision_on) <= 730, FALSE)
    OR coalesce(date_diff('day', started_on, clear_until) >= 669, FALSE) AS is_resolved,
    died_on,
    CASE WHEN NOT is_sampled THEN sampled_otherwise_on END AS sampled_otherwise_on,
    grade_30_days,
    is_targeting_recorded,
    coalesce(is_verified, FALSE) AS is_verified,
    coalesce(is_stand_in_matched, FALSE) AS is_stand_in_matched,
    aperture_judgement,
    needle_axis,
    targeting_error_mm,
    targeting_lateral_mm,
    targeting_depth_mm,
    target_motion_mm,
    coalesce(containers, 0) AS containers,
    coalesce(is_uptake_read, FALSE) AS is_uptake_read,
    coalesce(is_uptake_seen, FALSE) AS is_uptake_seen,
    coalesce(is_radiograph_read, FALSE) AS is_radiograph_read,
    coalesce(is_calcification_seen, FALSE) AS is_calcification_seen,
    tissue_mass_g,
    specimen_concentration_ratio
FROM joined
