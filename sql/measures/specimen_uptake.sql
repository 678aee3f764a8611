-- measure: specimen_uptake
-- kind: proportion
-- title: Tracer seen in the specimens
-- question: How often was tracer seen in the specimens that were read?
-- group: specimens
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: a specimen read as yes
-- denominator: sampled tracer-guided procedures with a specimen read
-- exclusions: not sampled (status not completed); not tracer guided (guidance not pet_tracer or
--     gamma_tracer); specimens not read (no specimen was read as yes, no or equivocal)
-- window: none
-- interval: wilson
-- direction: higher
-- source: common practice
-- caution: Tracer uptake is not cancer, and absence of uptake is not absence of cancer.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_tracer_guided THEN 'not tracer guided'
        WHEN NOT is_uptake_read THEN 'specimens not read'
    END AS excluded_because,
    is_uptake_seen AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
