-- sampling: known
-- title: Tracer in the specimens where it is known without the scan whether the target was sampled
-- grain: one row per group: known, uptake, procedures
-- note: Sampled: malignant at biopsy, or target none or reduced after sampling. Not sampled: later cancer at the
--     site within 730 days of a benign result, or target unchanged. Both at once is contradictory, neither is not
--     known; these are counted and used for nothing. Uptake is yes where any container was read yes, no where
--     all that were read were read no, else equivocal or not read. The procedure asked about is left out.
WITH read_specimen AS (
    SELECT
        procedure_id,
        bool_or(uptake_seen = 'yes') AS is_yes,
        bool_or(uptake_seen = 'equivocal') AS is_equivocal,
        bool_or(uptake_seen = 'no') AS is_no
    FROM specimens
    WHERE coalesce(coalesce(CAST(read_at AS DATE), CAST(scan_at AS DATE)) <= CAST($as_of AS DATE), TRUE)
    GROUP BY procedure_id
),

unit AS (
    SELECT
        f.procedure_id,
        f.is_malignant OR coalesce(f.residual IN ('none', 'reduced'), FALSE) AS is_shown_sampled,
        coalesce(f.residual = 'unchanged', FALSE)
        OR (f.is_benign_result AND coalesce(date_diff('day', f.started_on, f.later_cancer_on) <= 730, FALSE))
            AS is_shown_not_sampled,
        CASE
            WHEN r.is_yes THEN 'yes'
            WHEN r.is_equivocal THEN 'equivocal'
            WHEN r.is_no THEN 'no'
            ELSE 'not read'
        END AS uptake
    FROM procedure_facts AS f
    LEFT JOIN read_specimen AS r ON r.procedure_id = f.procedure_id
    WHERE f.is_sampled
        AND f.is_tracer_guided
        AND f.started_on <= CAST($as_of AS DATE)
        AND f.procedure_id <> $procedure_id
)

SELECT
    CASE
        WHEN is_shown_sampled AND is_shown_not_sampled THEN 'contradictory'
        WHEN is_shown_sampled THEN 'sampled'
        WHEN is_shown_not_sampled THEN 'not sampled'
        ELSE 'not known'
    END AS known,
    uptake,
    count(*) AS procedures
FROM unit
GROUP BY ALL
ORDER BY ALL
