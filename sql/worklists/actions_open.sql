-- worklist: actions_open
-- title: Recommended and not done
-- question: Which step of the latest joint review has neither been booked nor taken place?
-- who: the coordinator
-- order: discordant first, then indeterminate, then the rest; within each, steps that the patient
--     declined at the end, then the longest overdue, then the longest since the review
-- columns: reason, procedure_id, site, started_on, finding_id, assessment, diagnosis, reviewed_on,
--     determination, management, responsible, due_on, days_overdue, booked_for, declined_on, days_open
-- narrow: reason, procedure_id, management, responsible, due_on, days_overdue, booked_for
-- note: What ends a step must lie after the day of the review: a repeat biopsy, vacuum excision or
--     surgical opinion by a sampled repeat or an excision; an excision by an excision; imaging by an
--     examination (for the same tracer one with a tracer, or of unstated modality); a review of the pathology by a further
--     version of a report; each of them by a later cancer or death. A booking hides a step until its day has
--     passed. Where no due day was given, imaging is due at the first date of the local schedule and a review
--     of the pathology after report_due_days.
WITH ranked_review AS (
    SELECT
        *,
        row_number() OVER (PARTITION BY procedure_id ORDER BY reviewed_on DESC, review_id DESC) AS place_from_last
    FROM main.reviews
    WHERE stage = 'joint' AND reviewed_on <= $as_of
),

recommended AS (
    SELECT
        r.procedure_id,
        p.root_id,
        p.finding_id,
        p.started_at,
        r.reviewed_on,
        r.determination,
        r.management,
        r.responsible,
        r.booked_for,
        r.declined_on,
        CASE
            WHEN r.due_on IS NOT NULL THEN r.due_on
            WHEN r.management IN ('short_interval_imaging', 'same_tracer_imaging', 'other_imaging')
                THEN CAST(CAST(p.started_at AS DATE) + to_months(CAST((SELECT min(m) FROM (SELECT unnest($benign_months) AS m) AS q) AS INTEGER)) AS DATE)
            WHEN r.management = 'pathology_review'
                THEN r.reviewed_on + CAST((SELECT number FROM site_setting WHERE name = 'report_due_days') AS INTEGER)
        END AS due_on
    FROM ranked_review AS r
    JOIN main.procedures AS p ON p.procedure_id = r.procedure_id
    WHERE r.place_from_last = 1
        AND r.management IN (
            'repeat_biopsy', 'excision', 'vacuum_excision', 'surgical_opinion', 'short_interval_imaging',
            'same_tracer_imaging', 'other_imaging', 'pathology_review'
        )
),

-- One row for each thing that can end a step: what it is, and its day.
done AS (
    SELECT p.root_id, 'repeat' AS what, CAST(p.started_at AS DATE) AS done_on
    FROM main.procedures AS p
    WHERE p.status = 'completed'
    UNION ALL
    SELECT
        p.root_id,
        CASE
            WHEN e.kind = 'excision' THEN 'excision'
            WHEN e.modality IS NULL OR e.modality IN ('pet_tracer', 'gamma_tracer') THEN 'tracer imaging'
            ELSE 'imaging'
        END AS what,
        e.happened_on AS done_on
    FROM main.followup AS e
    JOIN main.procedures AS p ON p.procedure_id = e.procedure_id
    WHERE e.kind = 'imaging' OR (e.kind = 'excision' AND e.same_site IS DISTINCT FROM 'no')
),

ended AS (
    SELECT DISTINCT r.procedure_id
    FROM recommended AS r
    JOIN done AS d ON d.root_id = r.root_id AND d.done_on > r.reviewed_on AND d.done_on <= $as_of
    WHERE (d.what = 'excision' AND r.management IN ('repeat_biopsy', 'excision', 'vacuum_excision', 'surgical_opinion'))
        OR (d.what = 'repeat' AND r.management IN ('repeat_biopsy', 'vacuum_excision', 'surgical_opinion'))
        OR (d.what = 'tracer imaging' AND r.management IN ('short_interval_imaging', 'same_tracer_imaging', 'other_imaging'))
        OR (d.what = 'imaging' AND r.management IN ('short_interval_imaging', 'other_imaging'))
    UNION
    SELECT r.procedure_id
    FROM recommended AS r
    JOIN main.pathology AS v ON v.procedure_id = r.procedure_id
    WHERE r.management = 'pathology_review' AND v.status <> 'preliminary'
        AND v.reported_on > r.reviewed_on AND v.reported_on <= $as_of
),

open_step AS (
    SELECT
        r.*,
        f.site,
        f.started_on,
        f.assessment,
        f.diagnosis,
        date_diff('day', r.reviewed_on, $as_of) AS days_open,
        greatest(coalesce(date_diff('day', r.due_on, $as_of), 0), 0) AS days_overdue
    FROM recommended AS r
    JOIN procedure_facts AS f ON f.procedure_id = r.procedure_id
    LEFT JOIN ended AS e ON e.procedure_id = r.procedure_id
    WHERE e.procedure_id IS NULL
        AND f.died_on IS NULL
        AND (f.later_cancer_on IS NULL OR f.later_cancer_on <= r.reviewed_on)
        AND (r.booked_for IS NULL OR r.booked_for < $as_of)
)

SELECT
    CASE
        WHEN declined_on <= $as_of THEN 'declined by the patient'
        WHEN booked_for IS NOT NULL THEN 'booked for a day that has passed, nothing recorded since'
        WHEN days_overdue > 0 THEN 'not booked, overdue by ' || days_overdue || ' days'
        ELSE 'not booked'
    END AS reason,
    procedure_id,
    site,
    started_on,
    finding_id,
    assessment,
    diagnosis,
    reviewed_on,
    determination,
    management,
    responsible,
    due_on,
    days_overdue,
    booked_for,
    declined_on,
    days_open
FROM open_step
ORDER BY
    CASE determination WHEN 'discordant' THEN 1 WHEN 'indeterminate' THEN 2 ELSE 3 END,
    CASE WHEN declined_on <= $as_of THEN 1 ELSE 0 END,
    days_overdue DESC,
    days_open DESC,
    procedure_id
