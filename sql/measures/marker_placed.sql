-- measure: marker_placed
-- kind: proportion
-- title: Marker placed
-- question: How often was a tissue marker placed at the biopsy site?
-- group: marker
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: marker placed
-- denominator: sampled procedures with a statement
-- exclusions: not sampled (status not completed); marker not recorded (empty)
-- window: none
-- interval: wilson
-- direction: higher
-- source: common practice
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN marker IS NULL THEN 'marker not recorded'
    END AS excluded_because,
    coalesce(marker = 'placed', FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
