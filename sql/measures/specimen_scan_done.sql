-- measure: specimen_scan_done
-- kind: proportion
-- title: Specimens scanned for tracer
-- question: How often was a specimen of a tracer-guided biopsy read for tracer?
-- group: specimens
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: a specimen read as yes, no or equivocal
-- denominator: sampled tracer-guided procedures
-- exclusions: not sampled (status not completed); not tracer guided (guidance not pet_tracer or gamma_tracer)
-- window: none
-- interval: wilson
-- direction: higher
-- source: common practice
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_tracer_guided THEN 'not tracer guided'
    END AS excluded_because,
    is_uptake_read AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
