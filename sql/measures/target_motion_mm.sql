-- measure: target_motion_mm
-- kind: quantity
-- title: Motion of the target
-- question: How far had the target moved between planning and verification?
-- group: targeting
-- unit: procedure (one target, one visit); cluster: the patient
-- value: length of the target as re-seen minus as planned, last attempt
-- value_unit: mm
-- denominator: sampled procedures whose target was re-seen on the verification scan
-- exclusions: not sampled (status not completed); target not re-seen (no coordinates of the target on the
--     verification scan)
-- window: none
-- interval: order statistics of the median
-- direction: context
-- source: common practice
-- note: Missing counts those left out under tracer and MRI guidance only.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN target_motion_mm IS NULL THEN 'target not re-seen'
    END AS excluded_because,
    CAST(target_motion_mm AS DOUBLE) AS measured,
    guidance IN ('pet_tracer', 'gamma_tracer', 'mri') AS counts_as_missing
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
