-- measure: tissue_mass_g
-- kind: quantity
-- title: Mass of tissue
-- question: How much tissue was taken?
-- group: specimens
-- unit: procedure (one target, one visit); cluster: the patient
-- value: sum over the containers
-- value_unit: g
-- denominator: sampled procedures with a mass for every container
-- exclusions: not sampled (status not completed); no specimen (no container was recorded); any specimen
--     without a mass (the sum would be too small)
-- window: none
-- interval: order statistics of the median
-- direction: context
-- source: common practice
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN containers = 0 THEN 'no specimen'
        WHEN tissue_mass_g IS NULL THEN 'any specimen without a mass'
    END AS excluded_because,
    CAST(tissue_mass_g AS DOUBLE) AS measured,
    TRUE AS counts_as_missing
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
