-- agreement: reviews
-- title: Conclusive reviews of one procedure that can be set beside one another
-- grain: one row per procedure with a conclusive review
-- note: provisional is the last conclusive provisional review up to the day of the first conclusive joint one, or
--     the last at all where there is none. A second reading is a conclusive provisional review by another
--     radiologist, without a meeting: of the readings of one procedure the first of each of the first two
--     radiologists counts. own_view_first is that of the first conclusive joint review.
WITH conclusive AS (
    SELECT r.*
    FROM main.reviews AS r
    JOIN procedure_facts AS f ON f.procedure_id = r.procedure_id
    WHERE r.determination IN ('concordant', 'discordant')
        AND r.reviewed_on <= CAST($as_of AS DATE)
        AND f.started_on BETWEEN CAST($start AS DATE) AND CAST($end AS DATE)
),

joint AS (
    SELECT
        procedure_id,
        min(reviewed_on) AS reviewed_on,
        arg_min(determination, (reviewed_on, review_id)) AS determination,
        arg_min(coalesce(own_view_first, ''), (reviewed_on, review_id)) AS own_view_first
    FROM conclusive
    WHERE stage = 'joint'
    GROUP BY procedure_id
),

before AS (
    SELECT c.procedure_id, arg_max(c.determination, (c.reviewed_on, c.review_id)) AS determination
    FROM conclusive AS c
    LEFT JOIN joint AS j ON j.procedure_id = c.procedure_id
    WHERE c.stage = 'provisional' AND c.reviewed_on <= coalesce(j.reviewed_on, c.reviewed_on)
    GROUP BY c.procedure_id
),

reading AS (
    SELECT
        procedure_id,
        radiologist,
        arg_min(determination, (reviewed_on, review_id)) AS determination,
        min((reviewed_on, review_id)) AS first_key
    FROM conclusive
    WHERE stage = 'provisional' AND meeting_id IS NULL
    GROUP BY procedure_id, radiologist
),

placed AS (
    SELECT *, row_number() OVER (PARTITION BY procedure_id ORDER BY first_key) AS place FROM reading
)

SELECT
    k.procedure_id,
    j.determination AS joint,
    nullif(j.own_view_first, '') AS own_view_first,
    b.determination AS provisional,
    p.determination AS first_reading,
    s.determination AS second_reading
FROM (SELECT DISTINCT procedure_id FROM conclusive) AS k
LEFT JOIN joint AS j ON j.procedure_id = k.procedure_id
LEFT JOIN before AS b ON b.procedure_id = k.procedure_id
LEFT JOIN placed AS p ON p.procedure_id = k.procedure_id AND p.place = 1
LEFT JOIN placed AS s ON s.procedure_id = k.procedure_id AND s.place = 2
ORDER BY k.procedure_id
