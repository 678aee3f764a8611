-- Clinical tables: one for each table of sql/dictionary.csv, and its twin in schema history
-- that keeps the versions which were replaced. No keys are declared: intake is the only
-- writer and checks uniqueness set-based, which halves the cost of a bulk import. Keys lie
-- uncompressed: a save finds its rows by reading them (decision 0047).
CREATE SCHEMA history;

CREATE TABLE main.operators (
    operator VARCHAR NOT NULL,
    role VARCHAR,
    experience_before INTEGER,
    since DATE,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.operators IS 'One row per operator code';
COMMENT ON COLUMN main.operators.operator IS 'Code used in procedures';
COMMENT ON COLUMN main.operators.role IS 'Role';
COMMENT ON COLUMN main.operators.experience_before IS 'Procedures of this kind before the registry began';
COMMENT ON COLUMN main.operators.since IS 'Since';
COMMENT ON COLUMN main.operators.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.operators.author IS 'Who recorded this version';
COMMENT ON COLUMN main.operators.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.operators (
    operator VARCHAR NOT NULL,
    role VARCHAR,
    experience_before INTEGER,
    since DATE,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.operators IS 'Replaced versions of operators';
COMMENT ON COLUMN history.operators.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.operators.author IS 'Who recorded this version';
COMMENT ON COLUMN history.operators.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.operators.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.operators.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.operators.superseded_reason IS 'Why it was replaced or withdrawn';

CREATE TABLE main.sources (
    source_id VARCHAR NOT NULL,
    site VARCHAR NOT NULL,
    nuclide VARCHAR NOT NULL,
    activity_mbq DOUBLE NOT NULL,
    reference_on DATE NOT NULL,
    leak_test_on DATE,
    state VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.sources IS 'One row per radioactive source';
COMMENT ON COLUMN main.sources.source_id IS 'Radioactive source used as stand-in or for constancy';
COMMENT ON COLUMN main.sources.site IS 'Site';
COMMENT ON COLUMN main.sources.nuclide IS 'Nuclide';
COMMENT ON COLUMN main.sources.activity_mbq IS 'Activity on reference_on [MBq]';
COMMENT ON COLUMN main.sources.reference_on IS 'Reference on';
COMMENT ON COLUMN main.sources.leak_test_on IS 'Leak test on';
COMMENT ON COLUMN main.sources.state IS 'State';
COMMENT ON COLUMN main.sources.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.sources.author IS 'Who recorded this version';
COMMENT ON COLUMN main.sources.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.sources (
    source_id VARCHAR NOT NULL,
    site VARCHAR NOT NULL,
    nuclide VARCHAR NOT NULL,
    activity_mbq DOUBLE NOT NULL,
    reference_on DATE NOT NULL,
    leak_test_on DATE,
    state VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.sources IS 'Replaced versions of sources';
COMMENT ON COLUMN history.sources.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.sources.author IS 'Who recorded this version';
COMMENT ON COLUMN history.sources.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.sources.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.sources.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.sources.superseded_reason IS 'Why it was replaced or withdrawn';

CREATE TABLE main.meetings (
    meeting_id VARCHAR NOT NULL,
    held_on DATE NOT NULL,
    site VARCHAR NOT NULL,
    chair VARCHAR,
    attendees VARCHAR,
    closed_at TIMESTAMP,
    closed_at_offset_min SMALLINT,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.meetings IS 'One row per concordance meeting';
COMMENT ON COLUMN main.meetings.meeting_id IS 'Meeting id';
COMMENT ON COLUMN main.meetings.held_on IS 'Held on';
COMMENT ON COLUMN main.meetings.site IS 'Site';
COMMENT ON COLUMN main.meetings.chair IS 'Role or person code';
COMMENT ON COLUMN main.meetings.attendees IS 'Attendees';
COMMENT ON COLUMN main.meetings.closed_at IS 'Minutes signed (local time of the site)';
COMMENT ON COLUMN main.meetings.closed_at_offset_min IS 'Minutes by which closed_at is ahead of UTC';
COMMENT ON COLUMN main.meetings.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.meetings.author IS 'Who recorded this version';
COMMENT ON COLUMN main.meetings.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.meetings (
    meeting_id VARCHAR NOT NULL,
    held_on DATE NOT NULL,
    site VARCHAR NOT NULL,
    chair VARCHAR,
    attendees VARCHAR,
    closed_at TIMESTAMP,
    closed_at_offset_min SMALLINT,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.meetings IS 'Replaced versions of meetings';
COMMENT ON COLUMN history.meetings.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.meetings.author IS 'Who recorded this version';
COMMENT ON COLUMN history.meetings.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.meetings.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.meetings.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.meetings.superseded_reason IS 'Why it was replaced or withdrawn';

CREATE TABLE main.patients (
    patient VARCHAR USING COMPRESSION uncompressed NOT NULL,
    sex VARCHAR NOT NULL,
    death_date DATE,
    research_use VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.patients IS 'One row per patient, without identifiers';
COMMENT ON COLUMN main.patients.patient IS 'Keyed pseudonym of the patient (HMAC-SHA-256 of the patient_id under the site key)';
COMMENT ON COLUMN main.patients.sex IS 'The four codes of HL7 FHIR administrative-gender';
COMMENT ON COLUMN main.patients.death_date IS 'Date of death, where known';
COMMENT ON COLUMN main.patients.research_use IS 'objected never enters a research export, and is a step of the flow';
COMMENT ON COLUMN main.patients.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.patients.author IS 'Who recorded this version';
COMMENT ON COLUMN main.patients.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.patients (
    patient VARCHAR NOT NULL,
    sex VARCHAR NOT NULL,
    death_date DATE,
    research_use VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.patients IS 'Replaced versions of patients';
COMMENT ON COLUMN history.patients.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.patients.author IS 'Who recorded this version';
COMMENT ON COLUMN history.patients.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.patients.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.patients.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.patients.superseded_reason IS 'Why it was replaced or withdrawn';

CREATE TABLE main.findings (
    finding_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    patient VARCHAR USING COMPRESSION uncompressed NOT NULL,
    found_on DATE NOT NULL,
    biopsy_advised_on DATE,
    laterality VARCHAR NOT NULL,
    region VARCHAR,
    clock_position SMALLINT,
    nipple_distance_mm DOUBLE,
    density VARCHAR,
    modality VARCHAR NOT NULL,
    correlate VARCHAR,
    finding_type VARCHAR NOT NULL,
    uptake_pattern VARCHAR,
    uptake_intensity VARCHAR,
    size_mm DOUBLE,
    assessment VARCHAR NOT NULL,
    uptake_ratio DOUBLE,
    suv_max DOUBLE,
    other_cancer VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.findings IS 'One row per imaging finding that is a biopsy target';
COMMENT ON COLUMN main.findings.finding_id IS 'Key of the imaging finding that is the biopsy target';
COMMENT ON COLUMN main.findings.patient IS 'Keyed pseudonym of the patient (HMAC-SHA-256 of the patient_id under the site key)';
COMMENT ON COLUMN main.findings.found_on IS 'Date of the examination that showed the finding';
COMMENT ON COLUMN main.findings.biopsy_advised_on IS 'Day on which biopsy was recommended';
COMMENT ON COLUMN main.findings.laterality IS 'Breast (DICOM Image Laterality codes)';
COMMENT ON COLUMN main.findings.region IS 'Where a clock position does not apply';
COMMENT ON COLUMN main.findings.clock_position IS 'Clock-face position, patient facing the observer [h]';
COMMENT ON COLUMN main.findings.nipple_distance_mm IS 'Distance from the nipple [mm]';
COMMENT ON COLUMN main.findings.density IS 'Breast density category';
COMMENT ON COLUMN main.findings.modality IS 'Examination that best shows the finding';
COMMENT ON COLUMN main.findings.correlate IS 'Correlate on another examination; none = seen on tracer imaging alone';
COMMENT ON COLUMN main.findings.finding_type IS 'Morphology; tracer findings use mass, non_mass or focus';
COMMENT ON COLUMN main.findings.uptake_pattern IS 'Distribution of the tracer uptake';
COMMENT ON COLUMN main.findings.uptake_intensity IS 'Intensity against surrounding breast';
COMMENT ON COLUMN main.findings.size_mm IS 'Largest diameter on the best modality [mm]';
COMMENT ON COLUMN main.findings.assessment IS 'Assessment category given before the biopsy';
COMMENT ON COLUMN main.findings.uptake_ratio IS 'Lesion-to-background uptake ratio on the planning examination';
COMMENT ON COLUMN main.findings.suv_max IS 'Maximum standardised uptake value of the lesion [g/mL]';
COMMENT ON COLUMN main.findings.other_cancer IS 'Cancer known elsewhere before this biopsy';
COMMENT ON COLUMN main.findings.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.findings.author IS 'Who recorded this version';
COMMENT ON COLUMN main.findings.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.findings (
    finding_id VARCHAR NOT NULL,
    patient VARCHAR NOT NULL,
    found_on DATE NOT NULL,
    biopsy_advised_on DATE,
    laterality VARCHAR NOT NULL,
    region VARCHAR,
    clock_position SMALLINT,
    nipple_distance_mm DOUBLE,
    density VARCHAR,
    modality VARCHAR NOT NULL,
    correlate VARCHAR,
    finding_type VARCHAR NOT NULL,
    uptake_pattern VARCHAR,
    uptake_intensity VARCHAR,
    size_mm DOUBLE,
    assessment VARCHAR NOT NULL,
    uptake_ratio DOUBLE,
    suv_max DOUBLE,
    other_cancer VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.findings IS 'Replaced versions of findings';
COMMENT ON COLUMN history.findings.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.findings.author IS 'Who recorded this version';
COMMENT ON COLUMN history.findings.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.findings.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.findings.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.findings.superseded_reason IS 'Why it was replaced or withdrawn';

CREATE TABLE main.procedures (
    procedure_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    finding_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    site VARCHAR NOT NULL,
    operator VARCHAR NOT NULL,
    supervisor VARCHAR,
    started_at TIMESTAMP NOT NULL,
    started_at_offset_min SMALLINT,
    ended_at TIMESTAMP,
    ended_at_offset_min SMALLINT,
    age_years SMALLINT,
    indication VARCHAR,
    status VARCHAR NOT NULL,
    status_reason VARCHAR,
    target_seen VARCHAR,
    day_uptake_ratio DOUBLE,
    guidance VARCHAR NOT NULL,
    approach VARCHAR,
    position VARCHAR,
    device VARCHAR,
    gauge SMALLINT,
    aperture_mm DOUBLE,
    dead_tip_mm DOUBLE,
    sampled_hours VARCHAR,
    cores SMALLINT,
    residual VARCHAR,
    compression_mm DOUBLE,
    compression_force_n DOUBLE,
    safe_margin_mm DOUBLE,
    tracer VARCHAR,
    activity_mbq DOUBLE,
    injected_at TIMESTAMP,
    injected_at_offset_min SMALLINT,
    first_scan_at TIMESTAMP,
    first_scan_at_offset_min SMALLINT,
    weight_kg DOUBLE,
    glucose_mmol_l DOUBLE,
    pregnancy_check VARCHAR,
    antithrombotic VARCHAR,
    uptake_check VARCHAR,
    marker VARCHAR,
    marker_shape VARCHAR,
    post_mammogram VARCHAR,
    marker_reference VARCHAR,
    marker_shift_x_mm DOUBLE,
    marker_shift_y_mm DOUBLE,
    marker_shift_z_mm DOUBLE,
    repeat_of VARCHAR USING COMPRESSION uncompressed,
    root_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    repeat_reason VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.procedures IS 'One row per biopsy procedure (one target, one visit)';
COMMENT ON COLUMN main.procedures.procedure_id IS 'Key of the biopsy procedure (one target, one visit)';
COMMENT ON COLUMN main.procedures.finding_id IS 'Finding id';
COMMENT ON COLUMN main.procedures.site IS 'Site code';
COMMENT ON COLUMN main.procedures.operator IS 'Operator code (never a name)';
COMMENT ON COLUMN main.procedures.supervisor IS 'Supervising operator code';
COMMENT ON COLUMN main.procedures.started_at IS 'Start of the procedure; offset, or the site''s time zone (local time of the site)';
COMMENT ON COLUMN main.procedures.started_at_offset_min IS 'Minutes by which started_at is ahead of UTC';
COMMENT ON COLUMN main.procedures.ended_at IS 'Release of compression or end of the procedure (local time of the site)';
COMMENT ON COLUMN main.procedures.ended_at_offset_min IS 'Minutes by which ended_at is ahead of UTC';
COMMENT ON COLUMN main.procedures.age_years IS 'Age on the day; must agree with birth_date where both are sent [a]';
COMMENT ON COLUMN main.procedures.indication IS 'Why the patient was imaged';
COMMENT ON COLUMN main.procedures.status IS 'completed = tissue taken; cancelled = before needle entry; abandoned = after it, without tissue';
COMMENT ON COLUMN main.procedures.status_reason IS 'Why no tissue was taken';
COMMENT ON COLUMN main.procedures.target_seen IS 'Target seen again on the day, before needle entry';
COMMENT ON COLUMN main.procedures.day_uptake_ratio IS 'Lesion-to-background ratio on the day';
COMMENT ON COLUMN main.procedures.guidance IS 'Guiding modality';
COMMENT ON COLUMN main.procedures.approach IS 'Side from which the needle enters';
COMMENT ON COLUMN main.procedures.position IS 'Position of the patient';
COMMENT ON COLUMN main.procedures.device IS 'Kind of sampling device';
COMMENT ON COLUMN main.procedures.gauge IS 'Needle gauge [G]';
COMMENT ON COLUMN main.procedures.aperture_mm IS 'Length of the sampling aperture [mm]';
COMMENT ON COLUMN main.procedures.dead_tip_mm IS 'Distal end of the aperture to the tip [mm]';
COMMENT ON COLUMN main.procedures.sampled_hours IS 'Aperture directions used, seen from the hub; empty = not known';
COMMENT ON COLUMN main.procedures.cores IS 'Number of cores taken';
COMMENT ON COLUMN main.procedures.residual IS 'Target on the guiding modality after sampling';
COMMENT ON COLUMN main.procedures.compression_mm IS 'Breast thickness between the paddles [mm]';
COMMENT ON COLUMN main.procedures.compression_force_n IS 'Compression force [N]';
COMMENT ON COLUMN main.procedures.safe_margin_mm IS 'Centre of the target to the far side of the breast along the needle; on screen: distance beyond the target [mm]';
COMMENT ON COLUMN main.procedures.tracer IS 'Radiopharmaceutical, where one was given';
COMMENT ON COLUMN main.procedures.activity_mbq IS 'Activity injected, net of residual, at injected_at [MBq]';
COMMENT ON COLUMN main.procedures.injected_at IS 'Injected at (local time of the site)';
COMMENT ON COLUMN main.procedures.injected_at_offset_min IS 'Minutes by which injected_at is ahead of UTC';
COMMENT ON COLUMN main.procedures.first_scan_at IS 'Start of the first breast scan of the day; ends the uptake time (local time of the site)';
COMMENT ON COLUMN main.procedures.first_scan_at_offset_min IS 'Minutes by which first_scan_at is ahead of UTC';
COMMENT ON COLUMN main.procedures.weight_kg IS 'Body weight on the day [kg]';
COMMENT ON COLUMN main.procedures.glucose_mmol_l IS 'Blood glucose before F-18 FDG [mmol/L]';
COMMENT ON COLUMN main.procedures.pregnancy_check IS 'Pregnancy and lactation asked before the tracer';
COMMENT ON COLUMN main.procedures.antithrombotic IS 'On the day';
COMMENT ON COLUMN main.procedures.uptake_check IS 'Short scan before the procedure that confirms tracer uptake';
COMMENT ON COLUMN main.procedures.marker IS 'Tissue marker at the biopsy site';
COMMENT ON COLUMN main.procedures.marker_shape IS 'Shape as seen on the image; differs within one breast';
COMMENT ON COLUMN main.procedures.post_mammogram IS 'Post-procedure mammogram that documents the marker';
COMMENT ON COLUMN main.procedures.marker_reference IS 'What the shift is measured from';
COMMENT ON COLUMN main.procedures.marker_shift_x_mm IS 'Marker minus reference on the post-procedure mammogram, x [mm]';
COMMENT ON COLUMN main.procedures.marker_shift_y_mm IS 'same, y [mm]';
COMMENT ON COLUMN main.procedures.marker_shift_z_mm IS 'same, z [mm]';
COMMENT ON COLUMN main.procedures.repeat_of IS 'Earlier procedure that this one repeats';
COMMENT ON COLUMN main.procedures.root_id IS 'First procedure of the chain that repeat_of links; the procedure itself where it repeats none';
COMMENT ON COLUMN main.procedures.repeat_reason IS 'Repeat reason';
COMMENT ON COLUMN main.procedures.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.procedures.author IS 'Who recorded this version';
COMMENT ON COLUMN main.procedures.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.procedures (
    procedure_id VARCHAR NOT NULL,
    finding_id VARCHAR NOT NULL,
    site VARCHAR NOT NULL,
    operator VARCHAR NOT NULL,
    supervisor VARCHAR,
    started_at TIMESTAMP NOT NULL,
    started_at_offset_min SMALLINT,
    ended_at TIMESTAMP,
    ended_at_offset_min SMALLINT,
    age_years SMALLINT,
    indication VARCHAR,
    status VARCHAR NOT NULL,
    status_reason VARCHAR,
    target_seen VARCHAR,
    day_uptake_ratio DOUBLE,
    guidance VARCHAR NOT NULL,
    approach VARCHAR,
    position VARCHAR,
    device VARCHAR,
    gauge SMALLINT,
    aperture_mm DOUBLE,
    dead_tip_mm DOUBLE,
    sampled_hours VARCHAR,
    cores SMALLINT,
    residual VARCHAR,
    compression_mm DOUBLE,
    compression_force_n DOUBLE,
    safe_margin_mm DOUBLE,
    tracer VARCHAR,
    activity_mbq DOUBLE,
    injected_at TIMESTAMP,
    injected_at_offset_min SMALLINT,
    first_scan_at TIMESTAMP,
    first_scan_at_offset_min SMALLINT,
    weight_kg DOUBLE,
    glucose_mmol_l DOUBLE,
    pregnancy_check VARCHAR,
    antithrombotic VARCHAR,
    uptake_check VARCHAR,
    marker VARCHAR,
    marker_shape VARCHAR,
    post_mammogram VARCHAR,
    marker_reference VARCHAR,
    marker_shift_x_mm DOUBLE,
    marker_shift_y_mm DOUBLE,
    marker_shift_z_mm DOUBLE,
    repeat_of VARCHAR,
    root_id VARCHAR NOT NULL,
    repeat_reason VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.procedures IS 'Replaced versions of procedures';
COMMENT ON COLUMN history.procedures.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.procedures.author IS 'Who recorded this version';
COMMENT ON COLUMN history.procedures.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.procedures.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.procedures.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.procedures.superseded_reason IS 'Why it was replaced or withdrawn';

CREATE TABLE main.targeting (
    procedure_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    attempt SMALLINT NOT NULL,
    frame VARCHAR,
    needle_axis VARCHAR NOT NULL,
    needle_direction VARCHAR,
    compression_axis VARCHAR NOT NULL,
    slice_mm DOUBLE,
    planned_x_mm DOUBLE NOT NULL,
    planned_y_mm DOUBLE NOT NULL,
    planned_z_mm DOUBLE NOT NULL,
    verification VARCHAR NOT NULL,
    stand_in VARCHAR,
    length_matched VARCHAR,
    marked_point VARCHAR,
    point_to_aperture_mm DOUBLE,
    aperture_judgement VARCHAR,
    achieved_x_mm DOUBLE,
    achieved_y_mm DOUBLE,
    achieved_z_mm DOUBLE,
    seen_x_mm DOUBLE,
    seen_y_mm DOUBLE,
    seen_z_mm DOUBLE,
    measurement_sd_mm DOUBLE,
    target_depth_mm DOUBLE,
    depth_datum VARCHAR,
    action VARCHAR,
    source_id VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.targeting IS 'One row per needle placement';
COMMENT ON COLUMN main.targeting.procedure_id IS 'Procedure id';
COMMENT ON COLUMN main.targeting.attempt IS '1 = first needle placement';
COMMENT ON COLUMN main.targeting.frame IS 'Coordinate frame; the register says what x, y, z plus mean and where hour 12 points';
COMMENT ON COLUMN main.targeting.needle_axis IS 'Axis along which the needle advances; oblique = no decomposition';
COMMENT ON COLUMN main.targeting.needle_direction IS 'Sense of advance along needle_axis; empty reads as plus and is listed by a data check';
COMMENT ON COLUMN main.targeting.compression_axis IS 'Axis of compression; may be the needle axis or lie across it';
COMMENT ON COLUMN main.targeting.slice_mm IS 'Slice thickness along compression_axis, the coarse axis of tomographic tracer imaging [mm]';
COMMENT ON COLUMN main.targeting.planned_x_mm IS 'Planned target centre [mm]';
COMMENT ON COLUMN main.targeting.planned_y_mm IS 'Planned y mm [mm]';
COMMENT ON COLUMN main.targeting.planned_z_mm IS 'Planned z mm [mm]';
COMMENT ON COLUMN main.targeting.verification IS 'Verification scan with the needle or its stand-in in place';
COMMENT ON COLUMN main.targeting.stand_in IS 'What stood in the needle''s place on the verification scan';
COMMENT ON COLUMN main.targeting.length_matched IS 'Stand-in matched in length to the sampling device; if not, it does not mark the aperture';
COMMENT ON COLUMN main.targeting.marked_point IS 'Point that was marked on the verification scan';
COMMENT ON COLUMN main.targeting.point_to_aperture_mm IS 'Marked point to aperture centre along the needle, positive toward the hub; achieved below already includes it [mm]';
COMMENT ON COLUMN main.targeting.aperture_judgement IS 'Reader''s judgement of the target against the aperture';
COMMENT ON COLUMN main.targeting.achieved_x_mm IS 'Centre of the sampling aperture on the verification scan (all three or none) [mm]';
COMMENT ON COLUMN main.targeting.achieved_y_mm IS 'Achieved y mm [mm]';
COMMENT ON COLUMN main.targeting.achieved_z_mm IS 'Achieved z mm [mm]';
COMMENT ON COLUMN main.targeting.seen_x_mm IS 'Target centre re-seen on the verification scan (all three or none); seen minus planned is the target''s own motion [mm]';
COMMENT ON COLUMN main.targeting.seen_y_mm IS 'Seen y mm [mm]';
COMMENT ON COLUMN main.targeting.seen_z_mm IS 'Seen z mm [mm]';
COMMENT ON COLUMN main.targeting.measurement_sd_mm IS 'Standard uncertainty of a measured coordinate across the coarse axis [mm]';
COMMENT ON COLUMN main.targeting.target_depth_mm IS 'Entry datum to target centre along the needle [mm]';
COMMENT ON COLUMN main.targeting.depth_datum IS 'Depth datum';
COMMENT ON COLUMN main.targeting.action IS 'What followed this attempt';
COMMENT ON COLUMN main.targeting.source_id IS 'Radioactive source used as stand-in';
COMMENT ON COLUMN main.targeting.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.targeting.author IS 'Who recorded this version';
COMMENT ON COLUMN main.targeting.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.targeting (
    procedure_id VARCHAR NOT NULL,
    attempt SMALLINT NOT NULL,
    frame VARCHAR,
    needle_axis VARCHAR NOT NULL,
    needle_direction VARCHAR,
    compression_axis VARCHAR NOT NULL,
    slice_mm DOUBLE,
    planned_x_mm DOUBLE NOT NULL,
    planned_y_mm DOUBLE NOT NULL,
    planned_z_mm DOUBLE NOT NULL,
    verification VARCHAR NOT NULL,
    stand_in VARCHAR,
    length_matched VARCHAR,
    marked_point VARCHAR,
    point_to_aperture_mm DOUBLE,
    aperture_judgement VARCHAR,
    achieved_x_mm DOUBLE,
    achieved_y_mm DOUBLE,
    achieved_z_mm DOUBLE,
    seen_x_mm DOUBLE,
    seen_y_mm DOUBLE,
    seen_z_mm DOUBLE,
    measurement_sd_mm DOUBLE,
    target_depth_mm DOUBLE,
    depth_datum VARCHAR,
    action VARCHAR,
    source_id VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.targeting IS 'Replaced versions of targeting';
COMMENT ON COLUMN history.targeting.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.targeting.author IS 'Who recorded this version';
COMMENT ON COLUMN history.targeting.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.targeting.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.targeting.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.targeting.superseded_reason IS 'Why it was replaced or withdrawn';

CREATE TABLE main.specimens (
    specimen_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    procedure_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    taken_order SMALLINT,
    cores SMALLINT,
    mass_g DOUBLE,
    scanned_with VARCHAR USING COMPRESSION uncompressed,
    scan_at TIMESTAMP,
    scan_at_offset_min SMALLINT,
    scan_seconds DOUBLE,
    counts DOUBLE,
    background_counts DOUBLE,
    background_kind VARCHAR,
    calibration_cps_per_kbq DOUBLE,
    uptake_seen VARCHAR,
    reader VARCHAR,
    read_at TIMESTAMP,
    read_at_offset_min SMALLINT,
    calcifications_seen VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.specimens IS 'One row per container';
COMMENT ON COLUMN main.specimens.specimen_id IS 'Container key';
COMMENT ON COLUMN main.specimens.procedure_id IS 'Procedure id';
COMMENT ON COLUMN main.specimens.taken_order IS 'Order in which the container was filled';
COMMENT ON COLUMN main.specimens.cores IS 'Cores in this container';
COMMENT ON COLUMN main.specimens.mass_g IS 'Net tissue mass [g]';
COMMENT ON COLUMN main.specimens.scanned_with IS 'Row that carries the counts, where several containers were scanned at once';
COMMENT ON COLUMN main.specimens.scan_at IS 'Start of the short scan of the specimens (local time of the site)';
COMMENT ON COLUMN main.specimens.scan_at_offset_min IS 'Minutes by which scan_at is ahead of UTC';
COMMENT ON COLUMN main.specimens.scan_seconds IS 'Duration; the same for background [s]';
COMMENT ON COLUMN main.specimens.counts IS 'Raw gross counts in the specimen region';
COMMENT ON COLUMN main.specimens.background_counts IS 'Raw counts in an equal background region';
COMMENT ON COLUMN main.specimens.background_kind IS 'What the background region held';
COMMENT ON COLUMN main.specimens.calibration_cps_per_kbq IS 'Counts per second per kBq of the scanner for a specimen [1/(s kBq)]';
COMMENT ON COLUMN main.specimens.uptake_seen IS 'Reader''s judgement of tracer in the specimens';
COMMENT ON COLUMN main.specimens.reader IS 'Reader code';
COMMENT ON COLUMN main.specimens.read_at IS 'Time of reading; before the first report = blind to it (local time of the site)';
COMMENT ON COLUMN main.specimens.read_at_offset_min IS 'Minutes by which read_at is ahead of UTC';
COMMENT ON COLUMN main.specimens.calcifications_seen IS 'Specimen radiograph';
COMMENT ON COLUMN main.specimens.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.specimens.author IS 'Who recorded this version';
COMMENT ON COLUMN main.specimens.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.specimens (
    specimen_id VARCHAR NOT NULL,
    procedure_id VARCHAR NOT NULL,
    taken_order SMALLINT,
    cores SMALLINT,
    mass_g DOUBLE,
    scanned_with VARCHAR,
    scan_at TIMESTAMP,
    scan_at_offset_min SMALLINT,
    scan_seconds DOUBLE,
    counts DOUBLE,
    background_counts DOUBLE,
    background_kind VARCHAR,
    calibration_cps_per_kbq DOUBLE,
    uptake_seen VARCHAR,
    reader VARCHAR,
    read_at TIMESTAMP,
    read_at_offset_min SMALLINT,
    calcifications_seen VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.specimens IS 'Replaced versions of specimens';
COMMENT ON COLUMN history.specimens.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.specimens.author IS 'Who recorded this version';
COMMENT ON COLUMN history.specimens.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.specimens.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.specimens.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.specimens.superseded_reason IS 'Why it was replaced or withdrawn';

CREATE TABLE main.pathology (
    report_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    version SMALLINT NOT NULL,
    status VARCHAR NOT NULL,
    procedure_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    specimen_id VARCHAR USING COMPRESSION uncompressed,
    reported_on DATE NOT NULL,
    pathologist VARCHAR,
    b_category VARCHAR,
    diagnosis VARCHAR NOT NULL,
    morphology VARCHAR,
    lesion VARCHAR,
    other_lesions VARCHAR,
    explains_finding VARCHAR,
    atypia VARCHAR,
    grade SMALLINT,
    er VARCHAR,
    pr VARCHAR,
    her2 VARCHAR,
    calcifications VARCHAR,
    further_work VARCHAR,
    conclusion VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.pathology IS 'One row per report version and container';
COMMENT ON COLUMN main.pathology.report_id IS 'Key of the report; one report may cover several procedures. The key of a row is report_id, procedure_id, specimen_id (may be empty), version';
COMMENT ON COLUMN main.pathology.version IS '1 = first issue; later = addendum or amendment, which supersedes';
COMMENT ON COLUMN main.pathology.status IS 'preliminary versions never count; a retracted current version voids its group (report_id, procedure_id, specimen_id)';
COMMENT ON COLUMN main.pathology.procedure_id IS 'Procedure id';
COMMENT ON COLUMN main.pathology.specimen_id IS 'Specimen id';
COMMENT ON COLUMN main.pathology.reported_on IS 'Reported on';
COMMENT ON COLUMN main.pathology.pathologist IS 'Reader code';
COMMENT ON COLUMN main.pathology.b_category IS 'Needle-core category; what B5c and B5d mean is set by the site''s scheme';
COMMENT ON COLUMN main.pathology.diagnosis IS 'Worst diagnosis in the report; classic lobular carcinoma in situ is high_risk whatever its behaviour digit; suspicious is neither benign nor malignant';
COMMENT ON COLUMN main.pathology.morphology IS 'Morphology and behaviour of the worst diagnosis';
COMMENT ON COLUMN main.pathology.lesion IS 'Named lesion of the worst diagnosis';
COMMENT ON COLUMN main.pathology.other_lesions IS 'Further lesions';
COMMENT ON COLUMN main.pathology.explains_finding IS 'Which lesion the pathologist holds to be the target';
COMMENT ON COLUMN main.pathology.atypia IS 'Epithelial atypia (with B3)';
COMMENT ON COLUMN main.pathology.grade IS 'Nottingham grade (invasive) or nuclear grade (in situ)';
COMMENT ON COLUMN main.pathology.er IS 'Er';
COMMENT ON COLUMN main.pathology.pr IS 'Pr';
COMMENT ON COLUMN main.pathology.her2 IS 'Her2';
COMMENT ON COLUMN main.pathology.calcifications IS 'Calcifications in the tissue';
COMMENT ON COLUMN main.pathology.further_work IS 'Awaited';
COMMENT ON COLUMN main.pathology.conclusion IS 'The pathologist''s own words; never exported';
COMMENT ON COLUMN main.pathology.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.pathology.author IS 'Who recorded this version';
COMMENT ON COLUMN main.pathology.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.pathology (
    report_id VARCHAR NOT NULL,
    version SMALLINT NOT NULL,
    status VARCHAR NOT NULL,
    procedure_id VARCHAR NOT NULL,
    specimen_id VARCHAR,
    reported_on DATE NOT NULL,
    pathologist VARCHAR,
    b_category VARCHAR,
    diagnosis VARCHAR NOT NULL,
    morphology VARCHAR,
    lesion VARCHAR,
    other_lesions VARCHAR,
    explains_finding VARCHAR,
    atypia VARCHAR,
    grade SMALLINT,
    er VARCHAR,
    pr VARCHAR,
    her2 VARCHAR,
    calcifications VARCHAR,
    further_work VARCHAR,
    conclusion VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.pathology IS 'Replaced versions of pathology';
COMMENT ON COLUMN history.pathology.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.pathology.author IS 'Who recorded this version';
COMMENT ON COLUMN history.pathology.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.pathology.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.pathology.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.pathology.superseded_reason IS 'Why it was replaced or withdrawn';

CREATE TABLE main.reviews (
    review_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    procedure_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    meeting_id VARCHAR,
    reviewed_on DATE NOT NULL,
    stage VARCHAR NOT NULL,
    radiologist VARCHAR NOT NULL,
    pathologist VARCHAR,
    determination VARCHAR NOT NULL,
    reason VARCHAR,
    own_view_first VARCHAR,
    management VARCHAR NOT NULL,
    responsible VARCHAR,
    due_on DATE,
    booked_for DATE,
    declined_on DATE,
    informed_on DATE,
    note VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.reviews IS 'One row per concordance review';
COMMENT ON COLUMN main.reviews.review_id IS 'Review id';
COMMENT ON COLUMN main.reviews.procedure_id IS 'Procedure id';
COMMENT ON COLUMN main.reviews.meeting_id IS 'Meeting id';
COMMENT ON COLUMN main.reviews.reviewed_on IS 'A review of a sampled procedure without any report is held';
COMMENT ON COLUMN main.reviews.stage IS 'provisional = the radiologist alone; joint = radiologist and pathologist; measures count joint reviews only';
COMMENT ON COLUMN main.reviews.radiologist IS 'Reviewer code';
COMMENT ON COLUMN main.reviews.pathologist IS 'Reviewer code';
COMMENT ON COLUMN main.reviews.determination IS 'Does the pathology explain the finding? not_applicable only for cancelled or abandoned procedures, which need no report';
COMMENT ON COLUMN main.reviews.reason IS 'Reason';
COMMENT ON COLUMN main.reviews.own_view_first IS 'Determination recorded before proposed flags were shown';
COMMENT ON COLUMN main.reviews.management IS 'Recommendation of the review';
COMMENT ON COLUMN main.reviews.responsible IS 'Role code of whoever acts';
COMMENT ON COLUMN main.reviews.due_on IS 'When the recommended step is due; derived from the local schedule where empty';
COMMENT ON COLUMN main.reviews.booked_for IS 'Recommended step booked';
COMMENT ON COLUMN main.reviews.declined_on IS 'Patient declined the step';
COMMENT ON COLUMN main.reviews.informed_on IS 'Patient told';
COMMENT ON COLUMN main.reviews.note IS 'Free text of the discussion, dissent included; never exported';
COMMENT ON COLUMN main.reviews.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.reviews.author IS 'Who recorded this version';
COMMENT ON COLUMN main.reviews.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.reviews (
    review_id VARCHAR NOT NULL,
    procedure_id VARCHAR NOT NULL,
    meeting_id VARCHAR,
    reviewed_on DATE NOT NULL,
    stage VARCHAR NOT NULL,
    radiologist VARCHAR NOT NULL,
    pathologist VARCHAR,
    determination VARCHAR NOT NULL,
    reason VARCHAR,
    own_view_first VARCHAR,
    management VARCHAR NOT NULL,
    responsible VARCHAR,
    due_on DATE,
    booked_for DATE,
    declined_on DATE,
    informed_on DATE,
    note VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.reviews IS 'Replaced versions of reviews';
COMMENT ON COLUMN history.reviews.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.reviews.author IS 'Who recorded this version';
COMMENT ON COLUMN history.reviews.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.reviews.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.reviews.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.reviews.superseded_reason IS 'Why it was replaced or withdrawn';

CREATE TABLE main.followup (
    event_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    procedure_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    happened_on DATE NOT NULL,
    kind VARCHAR NOT NULL,
    source VARCHAR,
    modality VARCHAR,
    imaging_outcome VARCHAR,
    diagnosis VARCHAR,
    same_site VARCHAR,
    excision_kind VARCHAR,
    neoadjuvant VARCHAR,
    adjudication VARCHAR,
    contact_result VARCHAR,
    closure_reason VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.followup IS 'One row per event after a procedure';
COMMENT ON COLUMN main.followup.event_id IS 'Event id';
COMMENT ON COLUMN main.followup.procedure_id IS 'Procedure that the event follows';
COMMENT ON COLUMN main.followup.happened_on IS 'Happened on';
COMMENT ON COLUMN main.followup.kind IS 'A repeat biopsy is a procedure of its own with repeat_of';
COMMENT ON COLUMN main.followup.source IS 'Source';
COMMENT ON COLUMN main.followup.modality IS 'Modality of a follow-up examination; one that cannot show the target does not clear it';
COMMENT ON COLUMN main.followup.imaging_outcome IS 'Imaging outcome';
COMMENT ON COLUMN main.followup.diagnosis IS 'Final diagnosis at excision or from linkage; none (linkage only; with an excision it is held) = no cancer up to happened_on';
COMMENT ON COLUMN main.followup.same_site IS 'Is the tissue or diagnosis from the biopsied site?';
COMMENT ON COLUMN main.followup.excision_kind IS 'Excision kind';
COMMENT ON COLUMN main.followup.neoadjuvant IS 'Systemic therapy between biopsy and excision';
COMMENT ON COLUMN main.followup.adjudication IS 'Malignant biopsy with non-malignant excision';
COMMENT ON COLUMN main.followup.contact_result IS 'Contact result';
COMMENT ON COLUMN main.followup.closure_reason IS 'Closure reason';
COMMENT ON COLUMN main.followup.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.followup.author IS 'Who recorded this version';
COMMENT ON COLUMN main.followup.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.followup (
    event_id VARCHAR NOT NULL,
    procedure_id VARCHAR NOT NULL,
    happened_on DATE NOT NULL,
    kind VARCHAR NOT NULL,
    source VARCHAR,
    modality VARCHAR,
    imaging_outcome VARCHAR,
    diagnosis VARCHAR,
    same_site VARCHAR,
    excision_kind VARCHAR,
    neoadjuvant VARCHAR,
    adjudication VARCHAR,
    contact_result VARCHAR,
    closure_reason VARCHAR,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.followup IS 'Replaced versions of followup';
COMMENT ON COLUMN history.followup.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.followup.author IS 'Who recorded this version';
COMMENT ON COLUMN history.followup.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.followup.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.followup.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.followup.superseded_reason IS 'Why it was replaced or withdrawn';

CREATE TABLE main.complications (
    complication_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    procedure_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    kind VARCHAR NOT NULL,
    scheme VARCHAR,
    grade SMALLINT NOT NULL,
    action VARCHAR,
    onset_on DATE NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.complications IS 'One row per complication';
COMMENT ON COLUMN main.complications.complication_id IS 'Complication id';
COMMENT ON COLUMN main.complications.procedure_id IS 'Procedure id';
COMMENT ON COLUMN main.complications.kind IS 'Kind';
COMMENT ON COLUMN main.complications.scheme IS 'Scale of the grade; never converted';
COMMENT ON COLUMN main.complications.grade IS 'Registry scale: 1 no treatment, 2 minor treatment, 3 intervention or admission, 4 life-threatening, 5 death; an expected bruise is not recorded';
COMMENT ON COLUMN main.complications.action IS 'Action';
COMMENT ON COLUMN main.complications.onset_on IS 'Onset on';
COMMENT ON COLUMN main.complications.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.complications.author IS 'Who recorded this version';
COMMENT ON COLUMN main.complications.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.complications (
    complication_id VARCHAR NOT NULL,
    procedure_id VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,
    scheme VARCHAR,
    grade SMALLINT NOT NULL,
    action VARCHAR,
    onset_on DATE NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.complications IS 'Replaced versions of complications';
COMMENT ON COLUMN history.complications.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.complications.author IS 'Who recorded this version';
COMMENT ON COLUMN history.complications.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.complications.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.complications.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.complications.superseded_reason IS 'Why it was replaced or withdrawn';

CREATE TABLE main.constancy (
    check_id VARCHAR NOT NULL,
    site VARCHAR NOT NULL,
    scanner VARCHAR,
    done_at TIMESTAMP NOT NULL,
    done_at_offset_min SMALLINT,
    kind VARCHAR NOT NULL,
    source_id VARCHAR,
    counts DOUBLE,
    seconds DOUBLE,
    error_x_mm DOUBLE,
    error_y_mm DOUBLE,
    error_z_mm DOUBLE,
    clock_offset_s DOUBLE,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE main.constancy IS 'One row per constancy check';
COMMENT ON COLUMN main.constancy.check_id IS 'Constancy check of the imaging and targeting chain';
COMMENT ON COLUMN main.constancy.site IS 'Site';
COMMENT ON COLUMN main.constancy.scanner IS 'Local code';
COMMENT ON COLUMN main.constancy.done_at IS 'Done at (local time of the site)';
COMMENT ON COLUMN main.constancy.done_at_offset_min IS 'Minutes by which done_at is ahead of UTC';
COMMENT ON COLUMN main.constancy.kind IS 'Kind';
COMMENT ON COLUMN main.constancy.source_id IS 'Source id';
COMMENT ON COLUMN main.constancy.counts IS 'Counts';
COMMENT ON COLUMN main.constancy.seconds IS 'Seconds [s]';
COMMENT ON COLUMN main.constancy.error_x_mm IS 'Phantom target minus reached point [mm]';
COMMENT ON COLUMN main.constancy.error_y_mm IS 'Error y mm [mm]';
COMMENT ON COLUMN main.constancy.error_z_mm IS 'Error z mm [mm]';
COMMENT ON COLUMN main.constancy.clock_offset_s IS 'Scanner clock minus reference clock [s]';
COMMENT ON COLUMN main.constancy.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN main.constancy.author IS 'Who recorded this version';
COMMENT ON COLUMN main.constancy.batch_id IS 'Import batch or form entry that brought this version';

CREATE TABLE history.constancy (
    check_id VARCHAR NOT NULL,
    site VARCHAR NOT NULL,
    scanner VARCHAR,
    done_at TIMESTAMP NOT NULL,
    done_at_offset_min SMALLINT,
    kind VARCHAR NOT NULL,
    source_id VARCHAR,
    counts DOUBLE,
    seconds DOUBLE,
    error_x_mm DOUBLE,
    error_y_mm DOUBLE,
    error_z_mm DOUBLE,
    clock_offset_s DOUBLE,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL,
    superseded_by INTEGER NOT NULL,
    superseded_reason VARCHAR NOT NULL
);
COMMENT ON TABLE history.constancy IS 'Replaced versions of constancy';
COMMENT ON COLUMN history.constancy.recorded_at IS 'When this version was recorded (UTC)';
COMMENT ON COLUMN history.constancy.author IS 'Who recorded this version';
COMMENT ON COLUMN history.constancy.batch_id IS 'Import batch or form entry that brought this version';
COMMENT ON COLUMN history.constancy.superseded_at IS 'Until when this version was current (UTC)';
COMMENT ON COLUMN history.constancy.superseded_by IS 'Batch that replaced or withdrew it';
COMMENT ON COLUMN history.constancy.superseded_reason IS 'Why it was replaced or withdrawn';
