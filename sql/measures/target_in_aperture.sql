-- measure: target_in_aperture
-- kind: proportion
-- title: Target judged within the aperture
-- question: How often did the reader judge the target to lie within the aperture?
-- group: targeting
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: judged within at the last attempt
-- denominator: sampled procedures with a verified position that was judged
-- exclusions: not sampled (status not completed); no targeting record (no needle placement was recorded); not
--     verified (no verification scan at the last attempt); stand-in not matched (a radioactive source whose
--     length is not stated to match the sampling device); not judged (aperture judgement empty or not_judged)
-- window: none
-- interval: wilson
-- direction: higher
-- source: common practice
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_targeting_recorded THEN 'no targeting record'
        WHEN NOT is_verified THEN 'not verified'
        WHEN NOT is_stand_in_matched THEN 'stand-in not matched'
        WHEN coalesce(aperture_judgement, 'not_judged') = 'not_judged' THEN 'not judged'
    END AS excluded_because,
    coalesce(aperture_judgement = 'within', FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
