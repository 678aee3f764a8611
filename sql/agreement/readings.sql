-- agreement: readings
-- title: Readings of one procedure by several radiologists, each without a meeting
-- grain: one row per procedure read by two radiologists or more
-- note: A reading is a conclusive provisional review without a meeting; of each radiologist the first counts.
WITH reading AS (
    SELECT
        r.procedure_id,
        r.radiologist,
        arg_min(r.determination, (r.reviewed_on, r.review_id)) AS determination
    FROM main.reviews AS r
    JOIN procedure_facts AS f ON f.procedure_id = r.procedure_id
    WHERE r.stage = 'provisional'
        AND r.meeting_id IS NULL
        AND r.determination IN ('concordant', 'discordant')
        AND r.reviewed_on <= CAST($as_of AS DATE)
        AND f.started_on BETWEEN CAST($start AS DATE) AND CAST($end AS DATE)
    GROUP BY r.procedure_id, r.radiologist
)

SELECT
    procedure_id,
    count(*) AS readers,
    count(*) FILTER (WHERE determination = 'discordant') AS discordant,
    count(*) FILTER (WHERE determination = 'concordant') AS concordant
FROM reading
GROUP BY procedure_id
HAVING count(*) >= 2
ORDER BY procedure_id
