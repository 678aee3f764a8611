-- quality: yearly
-- title: Procedures of twelve months, what they found, which were repeated, and who needed treatment
-- grain: one row per procedure of the period, whatever its status; parameters as_of, start, end
-- order: day of the procedure and key
-- note: Needing a repeat is a sampled procedure that was followed by another needle biopsy of its chain, or,
--     where it was not malignant, by an excision, or for which the latest joint review advised one of them.
--     The reason is the one recorded with the repeat; without one: discordant if a joint review said so, else
--     insufficient or high-risk by its diagnosis, else other. How it was repeated is by whichever came first;
--     what was found is the worst of all later tissue. A complication needed treatment from grade 2 on, in
--     whatever scheme it was graded, with onset on day 0 to 30, as in the measure complication.
WITH joint_review AS (
    SELECT
        procedure_id,
        bool_or(determination = 'discordant') AS is_discordant,
        arg_max(management, reviewed_on || review_id) AS management
    FROM main.reviews
    WHERE stage = 'joint' AND reviewed_on <= CAST($as_of AS DATE)
    GROUP BY procedure_id
),

treated AS (
    SELECT c.procedure_id, list_sort(list(DISTINCT c.kind)) AS kinds
    FROM main.complications AS c
    JOIN procedure_facts AS f ON f.procedure_id = c.procedure_id
    WHERE f.status <> 'cancelled'
        AND c.grade >= 2
        AND c.onset_on <= CAST($as_of AS DATE)
        AND date_diff('day', f.started_on, c.onset_on) BETWEEN 0 AND 30
    GROUP BY c.procedure_id
),

unit AS (
    SELECT
        f.*,
        t.repeat_id,
        t.repeat_reason,
        t.repeat_device,
        t.diagnosis AS later_diagnosis,
        coalesce(j.is_discordant, FALSE) AS is_discordant,
        coalesce(j.management IN ('repeat_biopsy', 'excision', 'vacuum_excision'), FALSE) AS is_advised,
        k.kinds,
        f.is_sampled AND (
            t.repeat_id IS NOT NULL
            OR (
                NOT f.is_malignant
                AND (
                    f.first_excision_on IS NOT NULL
                    OR coalesce(j.management IN ('repeat_biopsy', 'excision', 'vacuum_excision'), FALSE)
                )
            )
        ) AS is_repeat_needed
    FROM procedure_facts AS f
    LEFT JOIN later_tissue AS t ON t.procedure_id = f.procedure_id
    LEFT JOIN joint_review AS j ON j.procedure_id = f.procedure_id
    LEFT JOIN treated AS k ON k.procedure_id = f.procedure_id
    WHERE f.started_on BETWEEN $start AND $end
)

SELECT
    procedure_id,
    started_on,
    site,
    guidance,
    device,
    status,
    assessment,
    diagnosis,
    CASE
        WHEN NOT is_sampled THEN NULL
        WHEN NOT is_reported THEN 'no report yet'
        WHEN is_malignant THEN 'cancer'
        WHEN is_benign_result THEN 'benign'
        ELSE diagnosis
    END AS result,
    CASE
        WHEN NOT is_repeat_needed THEN NULL
        WHEN repeat_id IS NOT NULL THEN coalesce(repeat_reason, 'other')
        WHEN is_discordant THEN 'discordant'
        WHEN diagnosis IN ('insufficient', 'high_risk') THEN diagnosis
        ELSE 'other'
    END AS repeat_reason,
    CASE
        WHEN NOT is_repeat_needed THEN NULL
        WHEN repeat_id IS NOT NULL AND coalesce(first_repeat_on <= first_excision_on, TRUE)
            THEN coalesce(repeat_device, 'needle not recorded')
        WHEN first_excision_on IS NOT NULL THEN 'excision'
        ELSE 'not done'
    END AS repeated_by,
    CASE
        WHEN NOT is_repeat_needed THEN NULL
        WHEN later_diagnosis IN ('in_situ', 'invasive', 'other_malignant') THEN 'cancer'
        WHEN later_diagnosis IN ('normal', 'benign') THEN 'benign'
        WHEN later_diagnosis IS NOT NULL AND later_diagnosis <> 'none' THEN later_diagnosis
        ELSE 'not known'
    END AS repeat_found,
    repeat_id,
    later_diagnosis,
    kinds AS treated_complications,
    date_diff('day', started_on, CAST($as_of AS DATE)) AS days_since
FROM unit
ORDER BY started_on, procedure_id
