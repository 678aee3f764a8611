-- worklist: follow_up_due
-- title: Follow-up due
-- question: After which benign results is a follow-up examination due, and for how long?
-- who: the coordinator
-- order: growth or a new finding at the last examination; overdue beyond the local grace; due;
--     closed as lost to follow-up. Within each, the longest overdue first.
-- columns: place, reason, procedure_id, site, started_on, finding_id, correlate, diagnosis, clear_until,
--     next_due_on, days_overdue, contact_attempts, last_event_on, last_event
-- note: Listed are sampled procedures with a benign result that are not resolved and whose next date of
--     the local schedule (benign_months) has come; of a chain only the newest benign one. A date is met
--     when the target is known to be clear up to it, less the local grace. Growth or a new finding is
--     listed at once. Not listed: an excision or a later cancer known, the patient died, clear for
--     22 months, or nothing further in the local schedule.
WITH event AS (
    SELECT
        p.root_id,
        e.event_id,
        e.happened_on,
        e.kind,
        e.imaging_outcome,
        concat_ws(' ', e.kind, e.modality, e.imaging_outcome, e.diagnosis, e.contact_result, e.closure_reason) AS words
    FROM main.followup AS e
    JOIN main.procedures AS p ON p.procedure_id = e.procedure_id
    WHERE e.happened_on <= $as_of
),

benign AS (
    SELECT
        f.procedure_id,
        f.root_id,
        f.site,
        f.started_on,
        f.finding_id,
        f.correlate,
        f.diagnosis,
        f.clear_until,
        f.later_cancer_on,
        f.first_excision_on,
        f.is_resolved,
        f.died_on,
        row_number() OVER (PARTITION BY f.root_id ORDER BY p.started_at DESC, f.procedure_id DESC) AS place_from_last
    FROM procedure_facts AS f
    JOIN main.procedures AS p ON p.procedure_id = f.procedure_id
    WHERE f.is_sampled AND f.is_benign_result
),

unresolved AS (
    SELECT *
    FROM benign
    WHERE place_from_last = 1
        AND later_cancer_on IS NULL
        AND first_excision_on IS NULL
        AND died_on IS NULL
        AND NOT is_resolved
),

schedule AS (
    SELECT unnest($benign_months) AS months
),

next_due AS (
    SELECT u.procedure_id, min(CAST(u.started_on + to_months(CAST(s.months AS INTEGER)) AS DATE)) AS next_due_on
    FROM unresolved AS u
    CROSS JOIN schedule AS s
    WHERE u.clear_until IS NULL
        OR date_diff('day', u.clear_until, CAST(u.started_on + to_months(CAST(s.months AS INTEGER)) AS DATE))
        > (SELECT number FROM site_setting WHERE name = 'grace_days')
    GROUP BY u.procedure_id
),

later_event AS (
    SELECT
        u.procedure_id,
        e.*,
        row_number() OVER (PARTITION BY u.procedure_id ORDER BY e.happened_on DESC, e.event_id DESC) AS place_from_last,
        row_number() OVER (PARTITION BY u.procedure_id, e.kind ORDER BY e.happened_on DESC, e.event_id DESC) AS place_in_kind
    FROM unresolved AS u
    JOIN event AS e ON e.root_id = u.root_id AND e.happened_on >= u.started_on
),

seen AS (
    SELECT
        procedure_id,
        max(happened_on) FILTER (WHERE place_from_last = 1) AS last_event_on,
        max(words) FILTER (WHERE place_from_last = 1) AS last_event,
        max(kind) FILTER (WHERE place_from_last = 1) AS last_kind,
        max(imaging_outcome) FILTER (WHERE kind = 'imaging' AND place_in_kind = 1) AS last_imaging,
        count(*) FILTER (WHERE kind = 'contact') AS contact_attempts
    FROM later_event
    GROUP BY procedure_id
),

placed AS (
    SELECT
        u.*,
        n.next_due_on,
        greatest(coalesce(date_diff('day', n.next_due_on, $as_of), 0), 0) AS days_overdue,
        coalesce(s.contact_attempts, 0) AS contact_attempts,
        s.last_event_on,
        s.last_event,
        CASE
            WHEN s.last_imaging IN ('progressed', 'new_finding') THEN 1
            WHEN s.last_kind = 'lost' THEN 4
            WHEN date_diff('day', n.next_due_on, $as_of) > (SELECT number FROM site_setting WHERE name = 'grace_days') THEN 2
            ELSE 3
        END AS place
    FROM unresolved AS u
    LEFT JOIN next_due AS n ON n.procedure_id = u.procedure_id
    LEFT JOIN seen AS s ON s.procedure_id = u.procedure_id
    WHERE n.next_due_on <= $as_of OR s.last_imaging IN ('progressed', 'new_finding')
)

SELECT
    place,
    CASE place
        WHEN 1 THEN 'growth or a new finding at the last examination, no tissue since'
        WHEN 2 THEN 'overdue by ' || days_overdue || ' days'
        WHEN 3 THEN 'due'
        ELSE 'closed as lost to follow-up'
    END AS reason,
    procedure_id,
    site,
    started_on,
    finding_id,
    correlate,
    diagnosis,
    clear_until,
    next_due_on,
    days_overdue,
    contact_attempts,
    last_event_on,
    last_event
FROM placed
ORDER BY place, days_overdue DESC, procedure_id
