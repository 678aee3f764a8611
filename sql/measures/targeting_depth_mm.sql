-- measure: targeting_depth_mm
-- kind: quantity
-- title: Targeting error along the needle
-- question: How much too deep was the aperture?
-- group: targeting
-- unit: procedure (one target, one visit); cluster: the patient
-- value: part of the error vector along the needle, positive = deeper than the target
-- value_unit: mm
-- denominator: sampled procedures with a verified, usable position and a needle along an axis
-- exclusions: not sampled (status not completed); no targeting record (no needle placement was recorded); not
--     verified (no verification scan at the last attempt); stand-in not matched (a radioactive source whose
--     length is not stated to match the sampling device); position not recorded (no coordinates of the
--     aperture); needle_axis oblique (along and across cannot be told apart)
-- window: none
-- interval: order statistics of the median
-- direction: context
-- source: common practice
-- note: The error vector is the achieved centre of the aperture minus the reference: the target as re-seen on
--     the verification scan where all three coordinates are given, else as planned. An empty needle direction
--     reads as plus; a data check lists it. Missing counts those left out under tracer and MRI guidance only.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_targeting_recorded THEN 'no targeting record'
        WHEN NOT is_verified THEN 'not verified'
        WHEN NOT is_stand_in_matched THEN 'stand-in not matched'
        WHEN targeting_error_mm IS NULL THEN 'position not recorded'
        WHEN needle_axis = 'oblique' THEN 'needle_axis oblique'
    END AS excluded_because,
    CAST(targeting_depth_mm AS DOUBLE) AS measured,
    guidance IN ('pet_tracer', 'gamma_tracer', 'mri') AS counts_as_missing
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
