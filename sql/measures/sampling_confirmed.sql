-- measure: sampling_confirmed
-- kind: proportion
-- title: Sampling of the target confirmed
-- question: For how many sampled procedures does the record show that the target itself was sampled?
-- group: yield
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: malignant diagnosis; or the residual target is not unchanged and one of these says yes: target
--     within the aperture at the last attempt, a specimen read yes for tracer, a specimen read yes for
--     calcifications, residual none or reduced
-- denominator: sampled procedures
-- exclusions: not sampled (status not completed)
-- window: none
-- interval: wilson
-- direction: higher
-- source: common practice
-- caution: A prompt for the meeting, not proof: uptake in the specimen is not cancer, and its absence is not
--     benign.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
    END AS excluded_because,
    is_malignant
    OR (
        coalesce(residual <> 'unchanged', TRUE)
        AND (
            coalesce(aperture_judgement = 'within', FALSE)
            OR is_uptake_seen
            OR is_calcification_seen
            OR coalesce(residual IN ('none', 'reduced'), FALSE)
        )
    ) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
