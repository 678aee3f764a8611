-- measure: targeted_within_5mm
-- kind: proportion
-- title: Targeting error at most 5 mm
-- question: How often did the centre of the aperture lie within 5 mm of the target?
-- group: targeting
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: length of the error vector at the last attempt at most 5 mm
-- denominator: sampled procedures with a verified, usable position
-- exclusions: not sampled (status not completed); no targeting record (no needle placement was recorded); not
--     verified (no verification scan at the last attempt); stand-in not matched (a radioactive source whose
--     length is not stated to match the sampling device); position not recorded (no coordinates of the
--     aperture)
-- window: none
-- interval: wilson
-- direction: higher
-- source: common practice; no published limit found
-- note: The error is the achieved centre of the aperture minus the reference: the target as re-seen on the
--     verification scan where all three coordinates are given, else as planned.
-- caution: Worked out after the procedure from recorded coordinates; it never guides a needle.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_targeting_recorded THEN 'no targeting record'
        WHEN NOT is_verified THEN 'not verified'
        WHEN NOT is_stand_in_matched THEN 'stand-in not matched'
        WHEN targeting_error_mm IS NULL THEN 'position not recorded'
    END AS excluded_because,
    coalesce(targeting_error_mm <= 5 + 1e-9, FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
