-- measure: finding_to_biopsy_days
-- kind: quantity
-- title: Finding to biopsy
-- question: How many days passed from the finding to its biopsy?
-- group: timeliness
-- unit: procedure (one target, one visit); cluster: the patient
-- value: day of the examination that showed the finding to day of the procedure
-- value_unit: d
-- denominator: first sampled procedures of their chain
-- exclusions: not sampled (status not completed); repeat procedure (tissue was taken earlier in its chain of
--     repeats)
-- window: none
-- interval: order statistics of the median
-- direction: lower
-- source: days from diagnostic imaging to biopsy, as in Ann Surg Oncol 2023;30:6070
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_index THEN 'repeat procedure'
    END AS excluded_because,
    CAST(finding_to_biopsy_days AS DOUBLE) AS measured,
    TRUE AS counts_as_missing
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
