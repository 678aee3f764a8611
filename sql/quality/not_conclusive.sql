-- quality: not_conclusive
-- title: Procedures without a conclusive joint review, by why there is none
-- grain: one row with counts for each of the three denominators of discordance; parameters as_of, start, end
-- order: as the measures
-- note: As in the measure discordance: sampled, reported, started at least 30 days before the as-of date, no
--     conclusive review. Not reviewed has no joint review at all; the others were reviewed without a decision.
WITH unit AS (
    SELECT
        latest_determination IS NULL AS is_not_reviewed,
        is_benign_result,
        assessment IN ('4', '4A', '4B', '4C', '5') AS is_suspicious
    FROM procedure_facts
    WHERE is_sampled
        AND is_reported
        AND date_diff('day', started_on, CAST($as_of AS DATE)) >= 30
        AND first_conclusive IS NULL
        AND started_on BETWEEN $start AND $end
)

SELECT
    'discordance' AS measure,
    count(*) FILTER (WHERE is_not_reviewed) AS not_reviewed,
    count(*) FILTER (WHERE NOT is_not_reviewed) AS indeterminate
FROM unit
UNION ALL
SELECT
    'discordant_benign',
    count(*) FILTER (WHERE is_not_reviewed AND is_benign_result),
    count(*) FILTER (WHERE NOT is_not_reviewed AND is_benign_result)
FROM unit
UNION ALL
SELECT
    'discordant_suspicious_benign',
    count(*) FILTER (WHERE is_not_reviewed AND is_benign_result AND is_suspicious),
    count(*) FILTER (WHERE NOT is_not_reviewed AND is_benign_result AND is_suspicious)
FROM unit
