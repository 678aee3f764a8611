-- measure: specimen_concentration_ratio
-- kind: quantity
-- title: Tracer concentration in the specimens
-- question: How strongly did the specimens take up the tracer, against an even spread through the body?
-- group: specimens
-- unit: procedure (one target, one visit); cluster: the patient
-- value: activity per gram of scanned tissue over injected activity per gram of body, both at the time of
--     injection
-- value_unit: g/g
-- denominator: sampled procedures with everything that the ratio needs
-- exclusions: not sampled (status not completed); anything of it missing (no scan with counts, or a value
--     that the ratio needs is empty)
-- window: none
-- interval: order statistics of the median
-- direction: context
-- source: quotient as in standardised uptake values; common practice
-- note: Net counts over time and calibration give the activity; decay during the scan and from injection to
--     scan is corrected with the half-life of the tracer. Containers scanned at once are pooled with the row
--     that carries the counts; several scans are summed. A negative ratio means fewer counts than the
--     background.
-- caution: No published threshold was found; the ratio is not a diagnosis.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN specimen_concentration_ratio IS NULL THEN 'anything of it missing'
    END AS excluded_because,
    CAST(specimen_concentration_ratio AS DOUBLE) AS measured,
    TRUE AS counts_as_missing
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
