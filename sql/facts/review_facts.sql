-- facts: review_facts
-- grain: one row per procedure with a joint review
-- title: First, first conclusive and latest joint review
WITH joint_review AS (
    SELECT
        procedure_id,
        reviewed_on,
        determination,
        determination IN ('concordant', 'discordant') AS is_conclusive,
        -- One text that sorts by day and then by key.
        CAST(reviewed_on AS VARCHAR) || review_id AS place
    FROM scope_reviews
    WHERE stage = 'joint' AND reviewed_on <= CAST($as_of AS DATE)
)

SELECT
    procedure_id,
    min(reviewed_on) AS first_joint_review_on,
    min(reviewed_on) FILTER (WHERE is_conclusive) AS first_conclusive_on,
    arg_min(determination, place) FILTER (WHERE is_conclusive) AS first_conclusive,
    arg_max(determination, place) AS latest_determination
FROM joint_review
GROUP BY procedure_id
