-- quality: discordant
-- title: Every discordant result and how it ended
-- grain: one row per procedure with a discordant joint review; parameters as_of, start, end (day of the
--     procedure, both days included)
-- order: day of the procedure and key
-- note: Provisional reviews never count. A procedure ends by the first that applies: cancer came to light
--     afterwards; it was excised; its target was sampled again; the biopsy itself was malignant and nothing
--     followed; the patient died; a later joint review called it concordant; imaging showed it clear after the
--     review; the patient declined the step; a step is booked; nothing yet. Tissue counts from the procedure
--     on, on any procedure of its chain, and within 60 days of the first discordant review as in the measure
--     discordant_resolved. The worst diagnosis of that tissue
--     stands beside it.
WITH joint_review AS (
    SELECT *
    FROM main.reviews
    WHERE stage = 'joint' AND reviewed_on <= CAST($as_of AS DATE)
),

discordant_review AS (
    SELECT
        procedure_id,
        min(reviewed_on) AS discordant_on,
        arg_min(reason, reviewed_on || review_id) AS reason
    FROM joint_review
    WHERE determination = 'discordant'
    GROUP BY procedure_id
),

latest_review AS (
    SELECT
        procedure_id,
        arg_max(management, reviewed_on || review_id) AS management,
        arg_max(reviewed_on, reviewed_on || review_id) AS reviewed_on,
        arg_max(booked_for, reviewed_on || review_id) AS booked_for,
        arg_max(declined_on, reviewed_on || review_id) AS declined_on
    FROM joint_review
    GROUP BY procedure_id
),

listed AS (
    SELECT
        f.*,
        d.discordant_on,
        d.reason,
        l.management,
        l.booked_for,
        l.declined_on,
        w.diagnosis AS later_diagnosis,
        least(f.first_repeat_on, f.first_excision_on) AS tissue_on,
        coalesce(f.clear_until > d.discordant_on, FALSE) AS is_clear_since
    FROM procedure_facts AS f
    JOIN discordant_review AS d ON d.procedure_id = f.procedure_id
    JOIN latest_review AS l ON l.procedure_id = f.procedure_id
    LEFT JOIN later_tissue AS w ON w.procedure_id = f.procedure_id
    WHERE f.started_on BETWEEN $start AND $end
)

SELECT
    procedure_id,
    site,
    started_on,
    assessment,
    diagnosis,
    discordant_on,
    reason,
    management,
    first_conclusive,
    latest_determination,
    CASE
        WHEN later_cancer_on IS NOT NULL THEN 'cancer came to light'
        WHEN first_excision_on IS NOT NULL THEN 'excised, no cancer'
        WHEN first_reported_repeat_on IS NOT NULL THEN 'sampled again, no cancer'
        WHEN first_repeat_on IS NOT NULL THEN 'sampled again, report awaited'
        WHEN is_malignant THEN 'malignant at the biopsy, no later tissue'
        WHEN died_on IS NOT NULL THEN 'died'
        WHEN latest_determination = 'concordant' THEN 'called concordant at a later review'
        WHEN is_clear_since THEN 'clear on later imaging'
        WHEN declined_on <= CAST($as_of AS DATE) THEN 'declined by the patient'
        WHEN booked_for >= CAST($as_of AS DATE) THEN 'booked'
        ELSE 'nothing recorded yet'
    END AS ended,
    tissue_on,
    date_diff('day', discordant_on, tissue_on) AS days_to_tissue,
    CASE
        WHEN tissue_on IS NOT NULL AND date_diff('day', discordant_on, tissue_on) <= 60 THEN 'yes'
        WHEN date_diff('day', discordant_on, CAST($as_of AS DATE)) < 60 THEN 'time not over'
        ELSE 'no'
    END AS tissue_within_60_days,
    later_diagnosis,
    later_cancer_on
FROM listed
ORDER BY started_on, procedure_id
