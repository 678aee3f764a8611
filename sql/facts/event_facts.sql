-- facts: event_facts
-- grain: one row per procedure with an excision, linkage or clearing examination on or after its day
-- title: What followed a procedure, on any procedure of its chain
WITH event AS (
    SELECT
        -- A procedure that repeats none is the root of its chain.
        coalesce(c.root_id, e.procedure_id) AS root_id,
        e.happened_on,
        e.kind,
        e.diagnosis,
        coalesce(e.same_site = 'no', FALSE) AS is_elsewhere,
        coalesce(e.modality NOT IN ('pet_tracer', 'gamma_tracer', 'mri'), FALSE) AS is_seen_by_most,
        e.adjudication
    FROM scope_followup AS e
    LEFT JOIN (SELECT procedure_id, root_id FROM unit_facts WHERE root_id <> procedure_id) AS c
        ON c.procedure_id = e.procedure_id
    WHERE e.happened_on <= CAST($as_of AS DATE)
        AND (
            e.kind = 'registry_linkage'
            OR (e.kind = 'excision' AND coalesce(e.same_site <> 'no', TRUE))
            OR (e.kind = 'imaging' AND e.imaging_outcome IN ('resolved', 'decreased', 'stable'))
        )
),

later AS (
    SELECT
        u.procedure_id,
        e.happened_on,
        date_diff('day', u.started_on, e.happened_on) AS days,
        e.kind = 'excision' AS is_excision,
        e.diagnosis,
        rank_of(diagnosis, e.diagnosis) AS rank,
        e.adjudication,
        -- Linkage counts from the day after; an excision on the day itself is tissue after the biopsy.
        (e.kind = 'excision' OR (e.kind = 'registry_linkage' AND NOT e.is_elsewhere AND e.happened_on > u.started_on))
        AS is_tissue,
        CASE e.kind
            WHEN 'imaging' THEN NOT (u.is_seen_by_few AND e.is_seen_by_most)
            WHEN 'excision' THEN e.diagnosis IN ('normal', 'benign', 'high_risk')
            ELSE coalesce(e.diagnosis NOT IN ('in_situ', 'invasive', 'other_malignant'), TRUE)
        END AS is_clearing
    FROM event AS e
    JOIN unit_facts AS u ON u.root_id = e.root_id AND e.happened_on >= u.started_on
)

SELECT
    l.procedure_id,
    min(l.happened_on) FILTER (WHERE l.is_excision) AS first_excision_on,
    arg_max(l.diagnosis, l.rank) FILTER (WHERE l.is_excision AND l.days <= 365) AS excision_diagnosis,
    min(l.happened_on) FILTER (
        WHERE l.is_excision AND l.adjudication IN ('target_removed', 'therapy_response', 'site_missed')
    ) AS adjudicated_excision_on,
    min(l.happened_on) FILTER (WHERE l.is_tissue AND l.diagnosis IN ('in_situ', 'invasive', 'other_malignant'))
        AS first_malignant_event_on,
    min(l.happened_on) FILTER (WHERE l.is_tissue AND l.diagnosis IN ('in_situ', 'invasive'))
        AS first_breast_cancer_event_on,
    max(l.happened_on) FILTER (WHERE l.is_clearing) AS clear_until,
    -- Not kept: asked where the last clearing day before a later cancer is wanted.
    list(l.happened_on) FILTER (WHERE l.is_clearing) AS clear_days
FROM later AS l
GROUP BY l.procedure_id
