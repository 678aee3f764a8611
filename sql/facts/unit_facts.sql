-- facts: unit_facts
-- grain: one row per procedure that had started
-- title: Who was biopsied when, in which chain, and whether tissue was taken
SELECT
    p.procedure_id,
    p.finding_id,
    p.root_id,
    f.patient,
    CAST(p.started_at AS DATE) AS started_on,
    -- Which of two procedures came first is asked of the moment, not of the local clock.
    epoch_us(p.started_at) - CAST(60000000 AS BIGINT) * coalesce(p.started_at_offset_min, 0) AS started_us,
    p.status = 'completed' AS is_sampled,
    -- Such a target is seen by tracer or MRI only; an empty correlate is not `none`.
    coalesce(f.correlate IN ('none', 'not_assessed'), FALSE) AS is_seen_by_few
FROM scope_procedures AS p
JOIN scope_findings AS f ON f.finding_id = p.finding_id
WHERE CAST(p.started_at AS DATE) <= CAST($as_of AS DATE)
