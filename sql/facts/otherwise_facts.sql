-- facts: otherwise_facts
-- grain: one row per procedure without tissue whose finding or chain was sampled on or after its day
-- title: When a target that was not sampled was sampled after all
WITH sampled AS (
    SELECT u.procedure_id, s.started_on
    FROM unit_facts AS u
    JOIN unit_facts AS s ON s.finding_id = u.finding_id
    WHERE NOT u.is_sampled AND s.is_sampled AND s.started_on >= u.started_on
    UNION ALL
    SELECT u.procedure_id, s.started_on
    FROM unit_facts AS u
    JOIN unit_facts AS s ON s.root_id = u.root_id
    WHERE NOT u.is_sampled AND s.is_sampled AND s.started_on >= u.started_on
)

SELECT procedure_id, min(started_on) AS sampled_otherwise_on
FROM sampled
GROUP BY procedure_id
