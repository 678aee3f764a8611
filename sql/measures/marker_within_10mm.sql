-- measure: marker_within_10mm
-- kind: proportion
-- title: Marker within 10 mm
-- question: How often did the marker lie within 10 mm of the target or cavity?
-- group: marker
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: length of the shift in three dimensions at most 10 mm
-- denominator: sampled procedures with a marker placed and all of its shift recorded
-- exclusions: not sampled (status not completed); marker not placed (empty, not_placed or failed); shift not
--     recorded (a coordinate of the shift is empty)
-- window: none
-- interval: wilson
-- direction: higher
-- source: common practice; published series use 5, 10 or 20 mm
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN coalesce(marker <> 'placed', TRUE) THEN 'marker not placed'
        WHEN marker_shift_mm IS NULL THEN 'shift not recorded'
    END AS excluded_because,
    coalesce(marker_shift_mm <= 10 + 1e-9, FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
