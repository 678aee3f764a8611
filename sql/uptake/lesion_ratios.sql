-- uptake: lesion_ratios
-- title: Uptake of a lesion over its background, at planning and on the day
-- grain: one row per procedure with both ratios, from tracer imaging of one kind
-- note: A ratio of 0 is no measurement of uptake and has no logarithm: it is left out and counted.
SELECT
    f.procedure_id,
    f.patient_no,
    f.started_on,
    f.started_on - g.found_on AS days_between,
    g.uptake_ratio AS planning_ratio,
    p.day_uptake_ratio AS day_ratio
FROM procedure_facts AS f
JOIN main.procedures AS p ON p.procedure_id = f.procedure_id
JOIN main.findings AS g ON g.finding_id = f.finding_id
WHERE g.modality = f.guidance
    AND f.guidance IN ('pet_tracer', 'gamma_tracer')
    AND g.uptake_ratio IS NOT NULL
    AND p.day_uptake_ratio IS NOT NULL
    AND f.started_on BETWEEN CAST($start AS DATE) AND CAST($end AS DATE)
ORDER BY f.started_on, f.procedure_id
