-- worklist: follow_up_due
-- title: Follow-up due
-- question: After which results is a follow-up examination due, and for how long?
-- who: the coordinator
-- order: growth or a new finding that no later examination which can show the target took back; overdue beyond
--     the local grace; due; closed as lost to follow-up. Within each, the longest overdue first.
-- columns: place, reason, procedure_id, patient_no, site, started_on, finding_id, correlate, diagnosis, result_class,
--     clear_until, next_due_on, days_overdue, contact_attempts, next_call_on, escalate, outside_owed,
--     not_cleared_because, last_event_on, last_event
-- narrow: reason, procedure_id, patient_no, result_class, next_due_on, days_overdue, contact_attempts,
--     next_call_on
-- note: Listed are results that are not resolved and whose next date of the local schedule has come: benign ones;
--     high-risk, suspicious and insufficient ones that a joint review found concordant without asking for tissue;
--     discordant ones whose further tissue the patient declined; targets that were not sampled because nothing was
--     seen. Of a chain only the newest counts. A date is met when the target is known to be clear up to it, less the
--     local grace. Growth or a new finding is listed at once. An examination that cannot show the target meets no date
--     and takes no growth back, and not_cleared_because says so. An outside report is owed after a contact says that
--     the patient was seen elsewhere. Not listed: an excision or a later cancer known, the patient died, clear for 22
--     months, or nothing further in the schedule.
WITH event AS (
    SELECT
        p.root_id,
        e.event_id,
        e.happened_on,
        e.kind,
        e.modality,
        e.imaging_outcome,
        e.contact_result,
        concat_ws(' ', e.kind, e.modality, e.imaging_outcome, e.diagnosis, e.contact_result, e.closure_reason) AS words
    FROM main.followup AS e
    JOIN main.procedures AS p ON p.procedure_id = e.procedure_id
    WHERE e.happened_on <= $as_of
),

latest_review AS (
    SELECT
        procedure_id,
        arg_max(determination, (reviewed_on, review_id)) AS determination,
        arg_max(management, (reviewed_on, review_id)) AS management,
        arg_max(coalesce(CAST(declined_on AS VARCHAR), ''), (reviewed_on, review_id)) AS declined_on
    FROM main.reviews
    WHERE stage = 'joint' AND reviewed_on <= $as_of
    GROUP BY procedure_id
),

current_report AS (
    SELECT procedure_id, lesion
    FROM main.pathology
    WHERE status <> 'preliminary' AND reported_on <= $as_of
    QUALIFY version = max(version) OVER (PARTITION BY report_id, procedure_id, specimen_id) AND status <> 'retracted'
),

current_lesion AS (
    SELECT procedure_id, bool_or(coalesce(lesion IN (SELECT unnest($specific)), FALSE)) AS is_specific
    FROM current_report
    GROUP BY procedure_id
),

followed AS (
    SELECT
        f.procedure_id,
        f.root_id,
        f.patient_no,
        f.site,
        f.started_on,
        f.finding_id,
        f.correlate,
        f.diagnosis,
        f.is_tracer_guided,
        f.clear_until,
        f.later_cancer_on,
        f.first_excision_on,
        f.is_resolved,
        f.died_on,
        CASE
            WHEN NOT f.is_sampled THEN 'not_seen'
            WHEN r.determination = 'discordant' AND r.declined_on <> '' THEN 'declined'
            WHEN f.diagnosis = 'high_risk' THEN 'high_risk'
            WHEN f.correlate IN ('none', 'not_assessed') THEN 'tracer_only'
            WHEN l.is_specific THEN 'specific'
            ELSE 'non_specific'
        END AS result_class,
        row_number() OVER (PARTITION BY f.root_id ORDER BY p.started_at DESC, f.procedure_id DESC) AS place_from_last
    FROM procedure_facts AS f
    JOIN main.procedures AS p ON p.procedure_id = f.procedure_id
    LEFT JOIN latest_review AS r ON r.procedure_id = f.procedure_id
    LEFT JOIN current_lesion AS l ON l.procedure_id = f.procedure_id
    WHERE (f.is_sampled AND f.is_benign_result)
        -- Decided, and no tissue asked for: these stand on no other list.
        OR (
            f.is_sampled AND f.diagnosis IN ('insufficient', 'high_risk', 'suspicious') AND r.determination = 'concordant'
            AND r.management NOT IN ('repeat_biopsy', 'vacuum_excision', 'excision', 'surgical_opinion', 'treatment')
        )
        OR (f.is_sampled AND r.determination = 'discordant' AND r.declined_on <> '' AND NOT f.is_malignant)
        OR (
            NOT f.is_sampled AND p.status_reason IN ('target_not_seen', 'no_uptake')
            AND f.sampled_otherwise_on IS NULL AND f.first_repeat_on IS NULL
        )
),

unresolved AS (
    SELECT *
    FROM followed
    WHERE place_from_last = 1
        AND later_cancer_on IS NULL
        AND first_excision_on IS NULL
        AND died_on IS NULL
        AND NOT is_resolved
        AND (result_class <> 'not_seen' OR clear_until IS NULL)
),

next_due AS (
    SELECT u.procedure_id, min(CAST(u.started_on + to_months(CAST(s.months AS INTEGER)) AS DATE)) AS next_due_on
    FROM unresolved AS u
    JOIN follow_up_schedule AS s ON s.result_class = u.result_class
    WHERE u.clear_until IS NULL
        OR date_diff('day', u.clear_until, CAST(u.started_on + to_months(CAST(s.months AS INTEGER)) AS DATE))
        > (SELECT number FROM site_setting WHERE name = 'grace_days')
    GROUP BY u.procedure_id
),

later_event AS (
    SELECT
        u.procedure_id,
        u.correlate,
        e.*,
        -- Reassuring, by an examination that cannot show the target: it takes nothing back.
        coalesce(
            e.kind = 'imaging' AND e.imaging_outcome IN ('resolved', 'decreased', 'stable')
            AND u.correlate IN ('none', 'not_assessed') AND e.modality NOT IN ('pet_tracer', 'gamma_tracer', 'mri'),
            FALSE
        ) AS is_blind,
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
        arg_max(imaging_outcome, (happened_on, event_id)) FILTER (WHERE kind = 'imaging' AND NOT is_blind) AS last_imaging,
        max(happened_on) FILTER (WHERE kind = 'contact') AS last_contact_on,
        max(contact_result) FILTER (WHERE kind = 'contact' AND place_in_kind = 1) AS last_contact,
        max(happened_on) FILTER (WHERE kind IN ('imaging', 'excision', 'registry_linkage')) AS last_answer_on,
        count(*) FILTER (WHERE kind = 'contact') AS contact_attempts,
        -- Attempts since anybody was reached, or anything was found out.
        count(*) FILTER (
            WHERE kind = 'contact' AND contact_result IN ('no_answer', 'message_left', 'wrong_number')
        ) AS unanswered,
        arg_max(modality || ' of ' || CAST(happened_on AS VARCHAR), happened_on) FILTER (WHERE is_blind) AS blind_examination
    FROM later_event
    GROUP BY procedure_id
),

placed AS (
    SELECT
        u.*,
        n.next_due_on,
        greatest(coalesce(date_diff('day', n.next_due_on, $as_of), 0), 0) AS days_overdue,
        coalesce(s.contact_attempts, 0) AS contact_attempts,
        CASE
            WHEN s.last_contact IN ('no_answer', 'message_left', 'wrong_number')
                THEN s.last_contact_on + CAST((SELECT number FROM site_setting WHERE name = 'next_call_days') AS INTEGER)
        END AS next_call_on,
        coalesce(s.unanswered >= (SELECT number FROM site_setting WHERE name = 'attempts_max'), FALSE) AS escalate,
        coalesce(
            s.last_contact = 'seen_elsewhere' AND (s.last_answer_on IS NULL OR s.last_answer_on < s.last_contact_on),
            FALSE
        ) AS outside_owed,
        CASE
            WHEN s.blind_examination IS NOT NULL
                THEN s.blind_examination || ' cannot show a target seen on tracer imaging alone'
        END AS not_cleared_because,
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
        WHEN 1 THEN 'growth or a new finding, no tissue since'
        WHEN 2 THEN 'overdue by ' || days_overdue || ' days'
        WHEN 3 THEN 'due'
        ELSE 'closed as lost to follow-up'
    END AS reason,
    procedure_id,
    patient_no,
    site,
    started_on,
    finding_id,
    correlate,
    diagnosis,
    result_class,
    clear_until,
    next_due_on,
    days_overdue,
    contact_attempts,
    next_call_on,
    escalate,
    outside_owed,
    not_cleared_because,
    last_event_on,
    last_event
FROM placed
ORDER BY place, days_overdue DESC, procedure_id
