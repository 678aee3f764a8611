-- facts: complication_facts
-- grain: one row per procedure with a complication within 30 days
-- title: Worst grade of a complication of the procedure itself, onset 0 to 30 days
SELECT c.procedure_id, max(c.grade) AS grade_30_days
FROM scope_complications AS c
JOIN unit_facts AS u ON u.procedure_id = c.procedure_id
WHERE c.onset_on <= CAST($as_of AS DATE)
    AND date_diff('day', u.started_on, c.onset_on) BETWEEN 0 AND 30
GROUP BY c.procedure_id
