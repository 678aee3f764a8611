-- What the measures read: one kept row per procedure, derived by the statements in sql/facts
-- in the transaction of each write, and two lists that statements look up.
CREATE TABLE tracer_half_life (
    tracer VARCHAR NOT NULL,
    half_life_min DOUBLE NOT NULL
);
COMMENT ON TABLE tracer_half_life IS 'Half-life of the nuclide of each tracer, from the vocabulary';
COMMENT ON COLUMN tracer_half_life.tracer IS 'Tracer code';
COMMENT ON COLUMN tracer_half_life.half_life_min IS 'Half-life of its nuclide [min]';

CREATE TABLE code_rank (
    list VARCHAR NOT NULL,
    code VARCHAR NOT NULL,
    rank SMALLINT NOT NULL
);
COMMENT ON TABLE code_rank IS 'Order of the codes of diagnosis and b_category, the worst last, from the vocabulary';
COMMENT ON COLUMN code_rank.list IS 'diagnosis or b_category';
COMMENT ON COLUMN code_rank.code IS 'Code of that list';
COMMENT ON COLUMN code_rank.rank IS 'Place in the order, from 1';

CREATE TABLE procedure_facts (
    procedure_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    finding_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    root_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    patient VARCHAR USING COMPRESSION uncompressed NOT NULL,
    patient_no BIGINT NOT NULL,
    patient_procedures INTEGER NOT NULL,
    started_on DATE NOT NULL,
    site VARCHAR NOT NULL,
    operator VARCHAR NOT NULL,
    guidance VARCHAR NOT NULL,
    approach VARCHAR,
    assessment VARCHAR NOT NULL,
    finding_type VARCHAR NOT NULL,
    indication VARCHAR,
    correlate VARCHAR,
    device VARCHAR,
    gauge SMALLINT,
    status VARCHAR NOT NULL,
    is_sampled BOOLEAN NOT NULL,
    is_index BOOLEAN NOT NULL,
    is_tracer_guided BOOLEAN NOT NULL,
    target_seen VARCHAR,
    residual VARCHAR,
    safe_margin_mm DOUBLE,
    tip_clearance_mm DOUBLE,
    tracer VARCHAR,
    uptake_minutes DOUBLE,
    marker VARCHAR,
    post_mammogram VARCHAR,
    marker_shift_mm DOUBLE,
    finding_to_biopsy_days INTEGER NOT NULL,
    is_reported BOOLEAN NOT NULL,
    first_report_on DATE,
    diagnosis VARCHAR,
    is_malignant BOOLEAN NOT NULL,
    is_breast_cancer BOOLEAN NOT NULL,
    is_benign_result BOOLEAN NOT NULL,
    b_category VARCHAR,
    first_joint_review_on DATE,
    first_conclusive_on DATE,
    first_conclusive VARCHAR,
    latest_determination VARCHAR,
    first_repeat_on DATE,
    first_reported_repeat_on DATE,
    first_excision_on DATE,
    excision_diagnosis VARCHAR,
    adjudicated_excision_on DATE,
    later_cancer_on DATE,
    later_breast_cancer_on DATE,
    clear_until DATE,
    is_resolved BOOLEAN NOT NULL,
    died_on DATE,
    sampled_otherwise_on DATE,
    grade_30_days SMALLINT,
    is_targeting_recorded BOOLEAN NOT NULL,
    is_verified BOOLEAN NOT NULL,
    is_stand_in_matched BOOLEAN NOT NULL,
    aperture_judgement VARCHAR,
    needle_axis VARCHAR,
    targeting_error_mm DOUBLE,
    targeting_lateral_mm DOUBLE,
    targeting_depth_mm DOUBLE,
    target_motion_mm DOUBLE,
    containers INTEGER NOT NULL,
    is_uptake_read BOOLEAN NOT NULL,
    is_uptake_seen BOOLEAN NOT NULL,
    is_radiograph_read BOOLEAN NOT NULL,
    is_calcification_seen BOOLEAN NOT NULL,
    tissue_mass_g DOUBLE,
    specimen_concentration_ratio DOUBLE
);
COMMENT ON TABLE procedure_facts IS 'One row per procedure with everything that the measures ask of it, up to the newest record';
COMMENT ON COLUMN procedure_facts.procedure_id IS 'Key of the biopsy procedure';
COMMENT ON COLUMN procedure_facts.finding_id IS 'Key of the imaging finding that was the target';
COMMENT ON COLUMN procedure_facts.root_id IS 'First procedure of the chain of repeats; the chain is all procedures with this root';
COMMENT ON COLUMN procedure_facts.patient IS 'Keyed pseudonym of the patient';
COMMENT ON COLUMN procedure_facts.patient_no IS 'Number that tells patients apart in counting; it has no meaning and changes';
COMMENT ON COLUMN procedure_facts.patient_procedures IS 'Procedures of the patient, whatever their status';
COMMENT ON COLUMN procedure_facts.started_on IS 'Local day on which the procedure started';
COMMENT ON COLUMN procedure_facts.site IS 'Site code';
COMMENT ON COLUMN procedure_facts.operator IS 'Operator code';
COMMENT ON COLUMN procedure_facts.guidance IS 'Guiding modality';
COMMENT ON COLUMN procedure_facts.approach IS 'Side from which the needle enters';
COMMENT ON COLUMN procedure_facts.assessment IS 'Assessment category of the finding before the biopsy';
COMMENT ON COLUMN procedure_facts.finding_type IS 'Morphology of the finding';
COMMENT ON COLUMN procedure_facts.indication IS 'Why the patient was imaged';
COMMENT ON COLUMN procedure_facts.correlate IS 'Correlate of the finding on another examination';
COMMENT ON COLUMN procedure_facts.device IS 'Kind of sampling device';
COMMENT ON COLUMN procedure_facts.gauge IS 'Needle gauge [G]';
COMMENT ON COLUMN procedure_facts.status IS 'completed, cancelled before needle entry, or abandoned after it without tissue';
COMMENT ON COLUMN procedure_facts.is_sampled IS 'Tissue was taken (status completed)';
COMMENT ON COLUMN procedure_facts.is_index IS 'Sampled, and no procedure of its chain was sampled at an earlier time';
COMMENT ON COLUMN procedure_facts.is_tracer_guided IS 'Guidance by pet_tracer or gamma_tracer';
COMMENT ON COLUMN procedure_facts.target_seen IS 'Target seen again on the day, before needle entry';
COMMENT ON COLUMN procedure_facts.residual IS 'Target on the guiding modality after sampling';
COMMENT ON COLUMN procedure_facts.safe_margin_mm IS 'Centre of the target to the far side of the breast along the needle [mm]';
COMMENT ON COLUMN procedure_facts.tip_clearance_mm IS 'Safe margin less half the aperture and the dead tip; empty where any of them is missing [mm]';
COMMENT ON COLUMN procedure_facts.tracer IS 'Radiopharmaceutical, where one was given';
COMMENT ON COLUMN procedure_facts.uptake_minutes IS 'Injection to the first breast scan, or to the start of the procedure where no scan time is recorded; elapsed time, whatever the clocks did [min]';
COMMENT ON COLUMN procedure_facts.marker IS 'Tissue marker at the biopsy site: placed, not_placed, failed';
COMMENT ON COLUMN procedure_facts.post_mammogram IS 'Whether a post-procedure mammogram documents the marker';
COMMENT ON COLUMN procedure_facts.marker_shift_mm IS 'Length of the marker shift in three dimensions; empty where a coordinate is missing [mm]';
COMMENT ON COLUMN procedure_facts.finding_to_biopsy_days IS 'Day of the finding to day of the procedure [d]';
COMMENT ON COLUMN procedure_facts.is_reported IS 'At least one current report: the highest version that is not preliminary is not retracted';
COMMENT ON COLUMN procedure_facts.first_report_on IS 'Earliest day among the final and amended versions of the groups that have a current report';
COMMENT ON COLUMN procedure_facts.diagnosis IS 'Worst diagnosis among the current reports';
COMMENT ON COLUMN procedure_facts.is_malignant IS 'Diagnosis in_situ, invasive or other_malignant';
COMMENT ON COLUMN procedure_facts.is_breast_cancer IS 'Diagnosis in_situ or invasive';
COMMENT ON COLUMN procedure_facts.is_benign_result IS 'Diagnosis normal or benign';
COMMENT ON COLUMN procedure_facts.b_category IS 'Worst B category among the current reports, B5 not subdivided';
COMMENT ON COLUMN procedure_facts.first_joint_review_on IS 'Day of the first joint review';
COMMENT ON COLUMN procedure_facts.first_conclusive_on IS 'Day of the first joint review that was concordant or discordant';
COMMENT ON COLUMN procedure_facts.first_conclusive IS 'Determination of the first joint review that was concordant or discordant';
COMMENT ON COLUMN procedure_facts.latest_determination IS 'Determination of the latest joint review';
COMMENT ON COLUMN procedure_facts.first_repeat_on IS 'Day of the earliest sampled procedure of the chain that started later';
COMMENT ON COLUMN procedure_facts.first_reported_repeat_on IS 'The same among those with a current report';
COMMENT ON COLUMN procedure_facts.first_excision_on IS 'Day of the earliest excision in the chain, from the day of the procedure on; an excision elsewhere counts nowhere';
COMMENT ON COLUMN procedure_facts.excision_diagnosis IS 'Worst diagnosis at such excisions within 365 days';
COMMENT ON COLUMN procedure_facts.adjudicated_excision_on IS 'Day of the earliest such excision adjudicated target_removed, therapy_response or site_missed';
COMMENT ON COLUMN procedure_facts.later_cancer_on IS 'Earliest malignant diagnosis by a sampled repeat with a current report, by linkage from the day after, or by excision from the day itself';
COMMENT ON COLUMN procedure_facts.later_breast_cancer_on IS 'The same for in_situ and invasive diagnoses only';
COMMENT ON COLUMN procedure_facts.clear_until IS 'Latest day, from the day of the procedure on, up to which an event in the chain shows the target to be clear';
COMMENT ON COLUMN procedure_facts.is_resolved IS 'Later cancer or excision within 730 days, or clear for at least 669 days';
COMMENT ON COLUMN procedure_facts.died_on IS 'Earliest death of the patient in either table';
COMMENT ON COLUMN procedure_facts.sampled_otherwise_on IS 'For a procedure without tissue: earliest day, from its own on, on which its finding or chain was sampled';
COMMENT ON COLUMN procedure_facts.grade_30_days IS 'Worst grade of a complication of the procedure itself with onset within 30 days';
COMMENT ON COLUMN procedure_facts.is_targeting_recorded IS 'There is a targeting record';
COMMENT ON COLUMN procedure_facts.is_verified IS 'Verification scan done at the last attempt';
COMMENT ON COLUMN procedure_facts.is_stand_in_matched IS 'Last attempt: what was marked can stand for the aperture (no radioactive source, or one of matched length)';
COMMENT ON COLUMN procedure_facts.aperture_judgement IS 'Last attempt: reader''s judgement of the target against the aperture';
COMMENT ON COLUMN procedure_facts.needle_axis IS 'Last attempt: axis along which the needle advances';
COMMENT ON COLUMN procedure_facts.targeting_error_mm IS 'Last attempt: length of achieved minus reference, which is the target as re-seen where all of it is given, else as planned [mm]';
COMMENT ON COLUMN procedure_facts.targeting_lateral_mm IS 'Part of that vector across the needle axis; empty for an oblique needle [mm]';
COMMENT ON COLUMN procedure_facts.targeting_depth_mm IS 'Part of that vector along the needle, positive = deeper; empty for an oblique needle [mm]';
COMMENT ON COLUMN procedure_facts.target_motion_mm IS 'Last attempt: length of the target as re-seen minus as planned [mm]';
COMMENT ON COLUMN procedure_facts.containers IS 'Specimen containers';
COMMENT ON COLUMN procedure_facts.is_uptake_read IS 'A specimen was read for tracer as yes, no or equivocal';
COMMENT ON COLUMN procedure_facts.is_uptake_seen IS 'A specimen was read for tracer as yes';
COMMENT ON COLUMN procedure_facts.is_radiograph_read IS 'A specimen was read for calcifications as yes or no';
COMMENT ON COLUMN procedure_facts.is_calcification_seen IS 'A specimen was read for calcifications as yes';
COMMENT ON COLUMN procedure_facts.tissue_mass_g IS 'Tissue of all containers; empty where one has no mass [g]';
COMMENT ON COLUMN procedure_facts.specimen_concentration_ratio IS 'Activity concentration in the scanned specimens over injected activity per body mass, both at the time of injection [g/g]';

CREATE TABLE facts_definition (
    sha256 VARCHAR NOT NULL
);
COMMENT ON TABLE facts_definition IS 'Digest of the statements, code order and half-lives with which the kept facts were built';
