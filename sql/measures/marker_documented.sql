-- measure: marker_documented
-- kind: proportion
-- title: Marker documented on a mammogram
-- question: How often does a post-procedure mammogram document the marker?
-- group: marker
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: mammogram yes
-- denominator: sampled procedures with a marker placed and a statement
-- exclusions: not sampled (status not completed); marker not placed (empty, not_placed or failed); mammogram
--     not recorded (empty)
-- window: none
-- interval: wilson
-- direction: higher
-- source: common practice
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN coalesce(marker <> 'placed', TRUE) THEN 'marker not placed'
        WHEN post_mammogram IS NULL THEN 'mammogram not recorded'
    END AS excluded_because,
    coalesce(post_mammogram = 'yes', FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
