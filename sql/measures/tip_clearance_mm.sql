-- measure: tip_clearance_mm
-- kind: quantity
-- title: Clearance of the needle tip
-- question: How much breast was left beyond the tip of the needle?
-- group: targeting
-- unit: procedure (one target, one visit); cluster: the patient
-- value: safe margin less half the aperture and less the dead tip
-- value_unit: mm
-- denominator: sampled procedures with all three lengths
-- exclusions: not sampled (status not completed); any of it missing (safe margin, aperture length or dead tip
--     is empty)
-- window: none
-- interval: order statistics of the median
-- direction: context
-- source: common practice
-- caution: Arithmetic on recorded lengths after the procedure; it is not a depth to set.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN tip_clearance_mm IS NULL THEN 'any of it missing'
    END AS excluded_because,
    CAST(tip_clearance_mm AS DOUBLE) AS measured,
    TRUE AS counts_as_missing
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
