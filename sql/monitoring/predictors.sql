-- monitoring: predictors
-- title: What is known before a biopsy and may change the risk of an outcome
-- grain: one row per procedure that had started
SELECT
    f.procedure_id,
    f.assessment,
    i.size_mm,
    f.approach,
    f.guidance
FROM procedure_facts AS f
JOIN main.findings AS i ON i.finding_id = f.finding_id
WHERE f.started_on <= CAST($as_of AS DATE)
