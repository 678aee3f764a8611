-- facts: chain_facts
-- grain: one row per procedure of a chain in which another procedure was sampled
-- title: Whether tissue was taken earlier in the chain, and what later sampling found
WITH linked AS (
    -- Most procedures neither repeat nor are repeated: they are left out early.
    SELECT u.procedure_id, u.root_id, u.started_on, u.started_us, u.is_sampled
    FROM unit_facts AS u
    WHERE u.root_id IN (SELECT root_id FROM unit_facts WHERE root_id <> procedure_id)
),

sampled AS (
    SELECT
        l.procedure_id,
        l.root_id,
        l.started_on,
        l.started_us,
        r.procedure_id IS NOT NULL AS is_reported,
        r.diagnosis
    FROM linked AS l
    LEFT JOIN report_facts AS r ON r.procedure_id = l.procedure_id
    WHERE l.is_sampled
)

SELECT
    l.procedure_id,
    bool_or(s.started_us < l.started_us) AS is_sampled_before,
    min(s.started_on) FILTER (WHERE s.started_us > l.started_us) AS first_repeat_on,
    min(s.started_on) FILTER (WHERE s.started_us > l.started_us AND s.is_reported) AS first_reported_repeat_on,
    min(s.started_on) FILTER (
        WHERE s.started_us > l.started_us AND s.diagnosis IN ('in_situ', 'invasive', 'other_malignant')
    ) AS first_malignant_repeat_on,
    min(s.started_on) FILTER (
        WHERE s.started_us > l.started_us AND s.diagnosis IN ('in_situ', 'invasive')
    ) AS first_breast_cancer_repeat_on
FROM linked AS l
JOIN sampled AS s ON s.root_id = l.root_id AND s.procedure_id <> l.procedure_id
GROUP BY l.procedure_id
