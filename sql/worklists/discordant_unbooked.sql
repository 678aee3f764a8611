-- worklist: discordant_unbooked
-- title: Discordant and never booked
-- question: After which discordant decisions has nothing been booked, and no tissue been taken since?
-- who: the coordinator; the director sees it at each meeting
-- order: decisions without any step first, then the longest since the decision; declined by the patient last
-- columns: reason, procedure_id, site, started_on, finding_id, assessment, diagnosis, reviewed_on,
--     management, responsible, due_on, declined_on, informed_on, days_open
-- narrow: reason, procedure_id, assessment, diagnosis, management, due_on, days_open
-- note: What counts is the latest joint review. It leaves the list when a step is booked, when the chain is
--     sampled again or the site excised after the procedure, when a later cancer is known, or when the
--     patient died. A refusal stays listed, with its day: a discordant result is never closed by silence.
--     A booked day that passed without anything is on the list of steps recommended and not done.
WITH ranked_review AS (
    SELECT
        *,
        row_number() OVER (PARTITION BY procedure_id ORDER BY reviewed_on DESC, review_id DESC) AS place_from_last
    FROM main.reviews
    WHERE stage = 'joint' AND reviewed_on <= $as_of
),

tissue AS (
    SELECT p.root_id, CAST(p.started_at AS DATE) AS taken_on, p.procedure_id AS by_procedure
    FROM main.procedures AS p
    WHERE p.status = 'completed' AND CAST(p.started_at AS DATE) <= $as_of
    UNION ALL
    SELECT p.root_id, e.happened_on AS taken_on, NULL AS by_procedure
    FROM main.followup AS e
    JOIN main.procedures AS p ON p.procedure_id = e.procedure_id
    WHERE e.kind = 'excision' AND e.same_site IS DISTINCT FROM 'no' AND e.happened_on <= $as_of
)

SELECT
    CASE
        WHEN r.declined_on <= $as_of THEN 'declined by the patient'
        WHEN coalesce(r.management, 'none') IN ('none', 'routine_screening') THEN 'discordant, no step recommended'
        ELSE 'recommended, not booked'
    END AS reason,
    f.procedure_id,
    f.site,
    f.started_on,
    f.finding_id,
    f.assessment,
    f.diagnosis,
    r.reviewed_on,
    r.management,
    r.responsible,
    r.due_on,
    r.declined_on,
    r.informed_on,
    date_diff('day', r.reviewed_on, $as_of) AS days_open
FROM ranked_review AS r
JOIN procedure_facts AS f ON f.procedure_id = r.procedure_id
WHERE r.place_from_last = 1
    AND r.determination = 'discordant'
    AND r.booked_for IS NULL
    AND f.died_on IS NULL
    AND f.later_cancer_on IS NULL
    AND NOT EXISTS (
        SELECT 1
        FROM tissue AS t
        WHERE t.root_id = f.root_id AND t.taken_on >= f.started_on AND t.by_procedure IS DISTINCT FROM f.procedure_id
            AND (t.by_procedure IS NULL OR t.taken_on > f.started_on)
    )
ORDER BY
    CASE
        WHEN r.declined_on <= $as_of THEN 3
        WHEN coalesce(r.management, 'none') IN ('none', 'routine_screening') THEN 1
        ELSE 2
    END,
    days_open DESC,
    f.procedure_id
