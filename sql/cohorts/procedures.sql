-- cohort: procedures
-- title: Procedures and what became of them
-- grain: One row per procedure (one target, one visit)
-- population: Procedures started up to the as-of day and within the period, whatever their status,
--     without those of patients who object to research use. What is dated after the as-of day is left out.
-- note: Each column stands below as 'name source sensitivity', and a field of the dictionary where a derived
--     column holds its codes. Unit, codes and definition come from the source; columns made for the export
--     alone carry their definition. A column that is not listed here stops the export. What becomes of each
--     sensitivity stands in registry/disclosure/profiles.py.
-- columns:
--     patient_no export key: Number of the patient in this export, drawn at random for it;
--     procedure_id procedures.procedure_id key;
--     finding_id findings.finding_id key;
--     root_id procedure_facts.root_id key;
--     repeat_of procedures.repeat_of key;
--     repeat_reason procedures.repeat_reason clinical;
--     site procedures.site place;
--     operator_no export staff: Number of the operator in this export, drawn at random for it;
--     supervisor_no export staff: Number of the supervising operator, from the same draw as operator_no;
--     sex patients.sex person;
--     age_years procedures.age_years age;
--     research_use patients.research_use person;
--     died_on procedure_facts.died_on date;
--     found_on findings.found_on date;
--     biopsy_advised_on findings.biopsy_advised_on date;
--     started_on procedure_facts.started_on date;
--     finding_to_biopsy_days procedure_facts.finding_to_biopsy_days interval;
--     laterality findings.laterality clinical;
--     region findings.region clinical;
--     clock_position findings.clock_position clinical;
--     nipple_distance_mm findings.nipple_distance_mm position;
--     density findings.density clinical;
--     modality findings.modality clinical;
--     correlate findings.correlate clinical;
--     finding_type findings.finding_type clinical;
--     uptake_pattern findings.uptake_pattern clinical;
--     uptake_intensity findings.uptake_intensity clinical;
--     size_mm findings.size_mm clinical;
--     assessment findings.assessment clinical;
--     uptake_ratio findings.uptake_ratio clinical;
--     suv_max findings.suv_max clinical;
--     other_cancer findings.other_cancer clinical;
--     indication procedures.indication clinical;
--     status procedures.status clinical;
--     status_reason procedures.status_reason clinical;
--     is_sampled procedure_facts.is_sampled clinical;
--     is_index procedure_facts.is_index clinical;
--     is_tracer_guided procedure_facts.is_tracer_guided clinical;
--     target_seen procedures.target_seen clinical;
--     day_uptake_ratio procedures.day_uptake_ratio clinical;
--     guidance procedures.guidance clinical;
--     approach procedures.approach clinical;
--     position procedures.position clinical;
--     device procedures.device clinical;
--     gauge procedures.gauge clinical;
--     aperture_mm procedures.aperture_mm clinical;
--     dead_tip_mm procedures.dead_tip_mm clinical;
--     sampled_hours procedures.sampled_hours clinical;
--     cores procedures.cores clinical;
--     residual procedures.residual clinical;
--     duration_minutes export clinical: Start to end of the procedure, elapsed time [min];
--     compression_mm procedures.compression_mm clinical;
--     compression_force_n procedures.compression_force_n clinical;
--     safe_margin_mm procedures.safe_margin_mm position;
--     tip_clearance_mm procedure_facts.tip_clearance_mm position;
--     tracer procedures.tracer clinical;
--     activity_mbq procedures.activity_mbq clinical;
--     uptake_minutes procedure_facts.uptake_minutes clinical;
--     weight_kg procedures.weight_kg body;
--     glucose_mmol_l procedures.glucose_mmol_l clinical;
--     pregnancy_check procedures.pregnancy_check clinical;
--     antithrombotic procedures.antithrombotic clinical;
--     uptake_check procedures.uptake_check clinical;
--     marker procedures.marker clinical;
--     marker_shape procedures.marker_shape label;
--     post_mammogram procedures.post_mammogram clinical;
--     marker_reference procedures.marker_reference clinical;
--     marker_shift_x_mm procedures.marker_shift_x_mm position;
--     marker_shift_y_mm procedures.marker_shift_y_mm position;
--     marker_shift_z_mm procedures.marker_shift_z_mm position;
--     marker_shift_mm procedure_facts.marker_shift_mm position;
--     is_targeting_recorded procedure_facts.is_targeting_recorded clinical;
--     is_verified procedure_facts.is_verified clinical;
--     is_stand_in_matched procedure_facts.is_stand_in_matched clinical;
--     aperture_judgement procedure_facts.aperture_judgement clinical targeting.aperture_judgement;
--     needle_axis procedure_facts.needle_axis clinical targeting.needle_axis;
--     targeting_error_mm procedure_facts.targeting_error_mm position;
--     targeting_lateral_mm procedure_facts.targeting_lateral_mm position;
--     targeting_depth_mm procedure_facts.targeting_depth_mm position;
--     target_motion_mm procedure_facts.target_motion_mm position;
--     containers procedure_facts.containers clinical;
--     is_uptake_read procedure_facts.is_uptake_read clinical;
--     is_uptake_seen procedure_facts.is_uptake_seen clinical;
--     is_radiograph_read procedure_facts.is_radiograph_read clinical;
--     is_calcification_seen procedure_facts.is_calcification_seen clinical;
--     tissue_mass_g procedure_facts.tissue_mass_g clinical;
--     specimen_concentration_ratio procedure_facts.specimen_concentration_ratio clinical;
--     is_reported procedure_facts.is_reported clinical;
--     first_report_on procedure_facts.first_report_on date;
--     diagnosis procedure_facts.diagnosis clinical pathology.diagnosis;
--     is_malignant procedure_facts.is_malignant clinical;
--     is_breast_cancer procedure_facts.is_breast_cancer clinical;
--     is_benign_result procedure_facts.is_benign_result clinical;
--     b_category procedure_facts.b_category clinical pathology.b_category;
--     first_joint_review_on procedure_facts.first_joint_review_on date;
--     first_conclusive_on procedure_facts.first_conclusive_on date;
--     first_conclusive procedure_facts.first_conclusive clinical reviews.determination;
--     latest_determination procedure_facts.latest_determination clinical reviews.determination;
--     first_repeat_on procedure_facts.first_repeat_on date;
--     first_reported_repeat_on procedure_facts.first_reported_repeat_on date;
--     first_excision_on procedure_facts.first_excision_on date;
--     excision_diagnosis procedure_facts.excision_diagnosis clinical pathology.diagnosis;
--     adjudicated_excision_on procedure_facts.adjudicated_excision_on date;
--     later_cancer_on procedure_facts.later_cancer_on date;
--     later_breast_cancer_on procedure_facts.later_breast_cancer_on date;
--     clear_until procedure_facts.clear_until horizon;
--     is_resolved procedure_facts.is_resolved clinical;
--     sampled_otherwise_on procedure_facts.sampled_otherwise_on date;
--     grade_30_days procedure_facts.grade_30_days clinical;
-- withheld:
--     patients.patient_id identifier, see patient_no;
--     patients.birth_date identifier, see age_years;
--     patients.death_date see died_on, which knows the as-of day;
--     findings.patient_id identifier, see patient_no;
--     procedures.accession identifier;
--     procedures.operator names a member of staff, see operator_no;
--     procedures.supervisor names a member of staff, see supervisor_no;
--     procedures.started_at clock time, see started_on;
--     procedures.ended_at clock time, see duration_minutes;
--     procedures.injected_at clock time, see uptake_minutes;
--     procedures.first_scan_at clock time, see uptake_minutes;
--     procedure_facts.patient stored pseudonym, see patient_no;
--     procedure_facts.patient_no serves counting only, and changes, the export has its own;
--     procedure_facts.patient_procedures counts procedures outside the export too;
--     procedure_facts.operator names a member of staff, see operator_no
SELECT
    sp.number AS patient_no,
    f.procedure_id,
    f.finding_id,
    f.root_id,
    p.repeat_of,
    p.repeat_reason,
    f.site,
    so.number AS operator_no,
    su.number AS supervisor_no,
    t.sex,
    p.age_years,
    t.research_use,
    f.died_on,
    g.found_on,
    g.biopsy_advised_on,
    f.started_on,
    f.finding_to_biopsy_days,
    g.laterality,
    g.region,
    g.clock_position,
    g.nipple_distance_mm,
    g.density,
    g.modality,
    g.correlate,
    g.finding_type,
    g.uptake_pattern,
    g.uptake_intensity,
    g.size_mm,
    g.assessment,
    g.uptake_ratio,
    g.suv_max,
    g.other_cancer,
    p.indication,
    p.status,
    p.status_reason,
    f.is_sampled,
    f.is_index,
    f.is_tracer_guided,
    p.target_seen,
    p.day_uptake_ratio,
    p.guidance,
    p.approach,
    p.position,
    p.device,
    p.gauge,
    p.aperture_mm,
    p.dead_tip_mm,
    p.sampled_hours,
    p.cores,
    p.residual,
    (epoch(p.ended_at) - epoch(p.started_at)) / 60
    - coalesce(p.ended_at_offset_min - p.started_at_offset_min, 0) AS duration_minutes,
    p.compression_mm,
    p.compression_force_n,
    p.safe_margin_mm,
    f.tip_clearance_mm,
    p.tracer,
    p.activity_mbq,
    f.uptake_minutes,
    p.weight_kg,
    p.glucose_mmol_l,
    p.pregnancy_check,
    p.antithrombotic,
    p.uptake_check,
    p.marker,
    p.marker_shape,
    p.post_mammogram,
    p.marker_reference,
    p.marker_shift_x_mm,
    p.marker_shift_y_mm,
    p.marker_shift_z_mm,
    f.marker_shift_mm,
    f.is_targeting_recorded,
    f.is_verified,
    f.is_stand_in_matched,
    f.aperture_judgement,
    f.needle_axis,
    f.targeting_error_mm,
    f.targeting_lateral_mm,
    f.targeting_depth_mm,
    f.target_motion_mm,
    f.containers,
    f.is_uptake_read,
    f.is_uptake_seen,
    f.is_radiograph_read,
    f.is_calcification_seen,
    -- Sums over containers: the order of adding is the engine's, and shows in the last digit.
    round(f.tissue_mass_g, 9) AS tissue_mass_g,
    round(f.specimen_concentration_ratio, 9) AS specimen_concentration_ratio,
    f.is_reported,
    f.first_report_on,
    f.diagnosis,
    f.is_malignant,
    f.is_breast_cancer,
    f.is_benign_result,
    f.b_category,
    f.first_joint_review_on,
    f.first_conclusive_on,
    f.first_conclusive,
    f.latest_determination,
    f.first_repeat_on,
    f.first_reported_repeat_on,
    f.first_excision_on,
    f.excision_diagnosis,
    f.adjudicated_excision_on,
    f.later_cancer_on,
    f.later_breast_cancer_on,
    f.clear_until,
    f.is_resolved,
    f.sampled_otherwise_on,
    f.grade_30_days
FROM procedure_facts AS f
JOIN main.procedures AS p ON p.procedure_id = f.procedure_id
JOIN main.findings AS g ON g.finding_id = p.finding_id
JOIN main.patients AS t ON t.patient = f.patient
JOIN study_patient AS sp ON sp.patient = f.patient
JOIN study_operator AS so ON so.operator = p.operator
LEFT JOIN study_operator AS su ON su.operator = p.supervisor
WHERE coalesce(f.started_on >= CAST($start AS DATE), TRUE)
    AND coalesce(f.started_on <= CAST($end AS DATE), TRUE)
    AND t.research_use IS DISTINCT FROM 'objected'
ORDER BY sp.number, f.started_on, f.procedure_id
