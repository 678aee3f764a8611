-- worklist: cancelled_unresolved
-- title: Not sampled and not resolved
-- question: Which targets were not sampled, and nobody knows what became of them?
-- who: the coordinator
-- order: the longest time since the attempt first
-- columns: reason, procedure_id, site, started_on, finding_id, assessment, status, status_reason,
--     attempts, days_open, days_overdue, last_management, booked_for, declined_on, last_event_on, last_event
-- narrow: reason, procedure_id, site, assessment, status_reason, last_management, booked_for,
--     days_open, days_overdue
-- note: Listed is the last attempt at a finding that ended without tissue, cancelled or abandoned. It
--     leaves the list when the finding or the chain is sampled afterwards, when an event shows the target
--     to be clear, and when a later cancer, an excision or the patient's death is known. The local limit is
--     sampled_otherwise_days.
WITH event AS (
    SELECT
        p.root_id,
        e.event_id,
        e.happened_on,
        concat_ws(' ', e.kind, e.modality, e.imaging_outcome, e.diagnosis, e.contact_result, e.closure_reason) AS words
    FROM main.followup AS e
    JOIN main.procedures AS p ON p.procedure_id = e.procedure_id
    WHERE e.happened_on <= $as_of
),

attempt AS (
    SELECT
        f.procedure_id,
        f.root_id,
        f.site,
        f.started_on,
        f.finding_id,
        f.assessment,
        f.status,
        p.status_reason,
        f.sampled_otherwise_on,
        f.clear_until,
        f.later_cancer_on,
        f.first_excision_on,
        f.died_on,
        count(*) OVER (PARTITION BY f.finding_id) AS attempts,
        row_number() OVER (PARTITION BY f.finding_id ORDER BY p.started_at DESC, f.procedure_id DESC) AS place_from_last,
        (SELECT number FROM site_setting WHERE name = 'sampled_otherwise_days') AS limit_days
    FROM procedure_facts AS f
    JOIN main.procedures AS p ON p.procedure_id = f.procedure_id
    WHERE NOT f.is_sampled
),

unresolved AS (
    SELECT *, date_diff('day', started_on, $as_of) AS days_open
    FROM attempt
    WHERE place_from_last = 1
        AND sampled_otherwise_on IS NULL
        AND clear_until IS NULL
        AND later_cancer_on IS NULL
        AND first_excision_on IS NULL
        AND died_on IS NULL
),

ranked_review AS (
    SELECT
        procedure_id,
        management,
        booked_for,
        declined_on,
        row_number() OVER (PARTITION BY procedure_id ORDER BY reviewed_on DESC, review_id DESC) AS place_from_last
    FROM main.reviews
    WHERE reviewed_on <= $as_of
),

ranked_event AS (
    SELECT
        u.procedure_id,
        e.happened_on,
        e.words,
        row_number() OVER (PARTITION BY u.procedure_id ORDER BY e.happened_on DESC, e.event_id DESC) AS place_from_last
    FROM unresolved AS u
    JOIN event AS e ON e.root_id = u.root_id AND e.happened_on >= u.started_on
)

SELECT
    CASE
        WHEN u.days_open > u.limit_days THEN 'not sampled for ' || u.days_open || ' days'
        ELSE 'not sampled, within the local limit'
    END AS reason,
    u.procedure_id,
    u.site,
    u.started_on,
    u.finding_id,
    u.assessment,
    u.status,
    u.status_reason,
    u.attempts,
    u.days_open,
    CAST(greatest(u.days_open - u.limit_days, 0) AS INTEGER) AS days_overdue,
    r.management AS last_management,
    r.booked_for,
    r.declined_on,
    e.happened_on AS last_event_on,
    e.words AS last_event
FROM unresolved AS u
LEFT JOIN ranked_review AS r ON r.procedure_id = u.procedure_id AND r.place_from_last = 1
LEFT JOIN ranked_event AS e ON e.procedure_id = u.procedure_id AND e.place_from_last = 1
ORDER BY u.days_open DESC, u.procedure_id
