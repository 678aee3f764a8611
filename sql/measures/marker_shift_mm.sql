-- measure: marker_shift_mm
-- kind: quantity
-- title: Shift of the marker
-- question: How far from its reference did the marker lie?
-- group: marker
-- unit: procedure (one target, one visit); cluster: the patient
-- value: length of the shift in three dimensions
-- value_unit: mm
-- denominator: sampled procedures with a marker placed and all of its shift recorded
-- exclusions: not sampled (status not completed); marker not placed (empty, not_placed or failed); shift not
--     recorded (a coordinate of the shift is empty)
-- window: none
-- interval: order statistics of the median
-- direction: lower
-- source: common practice
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN coalesce(marker <> 'placed', TRUE) THEN 'marker not placed'
        WHEN marker_shift_mm IS NULL THEN 'shift not recorded'
    END AS excluded_because,
    CAST(marker_shift_mm AS DOUBLE) AS measured,
    TRUE AS counts_as_missing
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
