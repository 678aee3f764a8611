-- sampling: procedure
-- title: What the record says of one procedure beside its geometry, and the yield of its assessment category
-- grain: one row, none where the key is unknown or the procedure had not started
-- note: The yield is that of other procedures with the same assessment category, first sampled and reported:
--     malignant at biopsy, or later cancer within 730 days. Uptake as in known.sql.
WITH mine AS (
    SELECT * FROM procedure_facts
    WHERE procedure_id = $procedure_id AND started_on <= CAST($as_of AS DATE)
),

scan AS (
    SELECT
        bool_or(uptake_seen = 'yes') AS is_yes,
        bool_or(uptake_seen = 'equivocal') AS is_equivocal,
        bool_or(uptake_seen = 'no') AS is_no
    FROM specimens
    WHERE procedure_id = $procedure_id
        AND coalesce(coalesce(CAST(read_at AS DATE), CAST(scan_at AS DATE)) <= CAST($as_of AS DATE), TRUE)
),

yield AS (
    SELECT
        count(*) AS procedures,
        count(*) FILTER (
            WHERE f.is_malignant OR coalesce(date_diff('day', f.started_on, f.later_cancer_on) <= 730, FALSE)
        ) AS cancers
    FROM procedure_facts AS f
    JOIN mine ON mine.assessment = f.assessment
    WHERE f.is_index
        AND f.is_reported
        AND f.started_on <= CAST($as_of AS DATE)
        AND f.procedure_id <> $procedure_id
)

SELECT
    m.procedure_id,
    m.is_sampled,
    m.is_tracer_guided,
    m.aperture_judgement,
    m.residual,
    m.marker,
    m.is_benign_result,
    m.assessment,
    CASE
        WHEN s.is_yes THEN 'yes'
        WHEN s.is_equivocal THEN 'equivocal'
        WHEN s.is_no THEN 'no'
        ELSE 'not read'
    END AS uptake,
    y.procedures AS category_procedures,
    y.cancers AS category_cancers
FROM mine AS m
CROSS JOIN scan AS s
CROSS JOIN yield AS y
