-- concordance: signed_and_touched
-- title: Signed decisions that were recorded anew, or something underneath, after the first signature
-- grain: one row per procedure; whether what was recorded decides anything is told by its digest
WITH signed AS (
    SELECT procedure_id, min(recorded_at) AS signed_at
    FROM review_signature
    GROUP BY procedure_id
),

touched AS (
    SELECT procedure_id, recorded_at FROM main.procedures
    UNION ALL
    SELECT procedure_id, recorded_at FROM main.targeting
    UNION ALL
    SELECT procedure_id, recorded_at FROM main.specimens
    UNION ALL
    SELECT procedure_id, recorded_at FROM main.pathology
    UNION ALL
    SELECT p.procedure_id, f.recorded_at FROM main.findings AS f JOIN main.procedures AS p ON p.finding_id = f.finding_id
    UNION ALL
    SELECT procedure_id, recorded_at FROM main.reviews
    UNION ALL
    SELECT procedure_id, superseded_at FROM history.targeting
    UNION ALL
    SELECT procedure_id, superseded_at FROM history.specimens
    UNION ALL
    SELECT procedure_id, superseded_at FROM history.pathology
)

SELECT DISTINCT s.procedure_id
FROM signed AS s
JOIN touched AS t ON t.procedure_id = s.procedure_id AND t.recorded_at > s.signed_at
ORDER BY s.procedure_id
