-- follow_up: looks
-- title: Between which looks at the target a cancer came to light, for each procedure with a benign result
-- grain: one row per procedure that cancer_after_benign counts
-- note: benign_unit is that measure. The last look without cancer is the latest clearing day before the
--     cancer, not before the day up to which linkage is complete where that lies before the cancer, and the
--     day of the procedure where there is none. Without a cancer it is the day after which the estimate lost
--     leaves the procedure out; a death ends the looks.
WITH linkage AS (
    SELECT least(day, CAST($as_of AS DATE)) AS complete_until
    FROM site_setting
    WHERE name = 'linkage_complete_until' AND day IS NOT NULL
),

clear_day AS (
    SELECT procedure_id, unnest(clear_days) AS cleared_on
    FROM event_facts
),

last_clear AS (
    SELECT u.procedure_id, max(date_diff('day', u.index_date, c.cleared_on)) AS clear_day
    FROM benign_unit AS u
    JOIN clear_day AS c ON c.procedure_id = u.procedure_id
    WHERE u.lost_status = 1 AND date_diff('day', u.index_date, c.cleared_on) < u.lost_days
    GROUP BY u.procedure_id
),

linked AS (
    SELECT u.procedure_id, date_diff('day', u.index_date, l.complete_until) AS linked_day
    FROM benign_unit AS u
    JOIN linkage AS l ON date_diff('day', u.index_date, l.complete_until) < u.lost_days
    WHERE u.lost_status = 1
)

SELECT
    u.procedure_id,
    CASE WHEN u.lost_status = 1 THEN greatest(0, c.clear_day, k.linked_day) ELSE u.lost_days END AS last_without,
    CASE WHEN u.lost_status = 1 THEN u.lost_days END AS first_with
FROM benign_unit AS u
LEFT JOIN last_clear AS c ON c.procedure_id = u.procedure_id
LEFT JOIN linked AS k ON k.procedure_id = u.procedure_id
WHERE u.excluded_because IS NULL
