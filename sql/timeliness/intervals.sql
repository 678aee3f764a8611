-- timeliness: intervals
-- title: Days between the steps of the way from finding to action
-- grain: one row per procedure and interval that is due: the first step has its date
-- note: Days are calendar days. Finding and advice count for the first tissue of a chain only, as a repeat has its
--     own reason. Told is the earliest day on which a joint review says that the patient was told. Action counts
--     where the first conclusive joint review recommends tissue: the first sampled repeat or excision on or after
--     the review. A step without its date is missing; one dated before the step that it follows is a fault of the
--     record, and is listed.
WITH told AS (
    SELECT procedure_id, min(informed_on) AS informed_on
    FROM main.reviews
    WHERE stage = 'joint' AND informed_on <= CAST($as_of AS DATE)
    GROUP BY procedure_id
),

first_conclusive AS (
    SELECT procedure_id, arg_min(management, (reviewed_on, review_id)) AS management
    FROM main.reviews
    WHERE stage = 'joint' AND determination IN ('concordant', 'discordant') AND reviewed_on <= CAST($as_of AS DATE)
    GROUP BY procedure_id
),

unit AS (
    SELECT
        f.procedure_id,
        f.site,
        f.started_on,
        f.is_sampled,
        f.is_index,
        g.found_on,
        CASE WHEN g.biopsy_advised_on <= CAST($as_of AS DATE) THEN g.biopsy_advised_on END AS advised_on,
        f.first_report_on,
        f.first_joint_review_on,
        f.first_conclusive_on,
        t.informed_on,
        CASE
            WHEN c.management IN ('repeat_biopsy', 'vacuum_excision', 'excision', 'surgical_opinion', 'treatment')
                THEN f.first_conclusive_on
        END AS action_asked_on,
        CASE WHEN f.first_excision_on >= f.first_conclusive_on THEN f.first_excision_on END AS excised_on,
        CASE WHEN f.first_repeat_on >= f.first_conclusive_on THEN f.first_repeat_on END AS repeated_on
    FROM procedure_facts AS f
    JOIN main.findings AS g ON g.finding_id = f.finding_id
    LEFT JOIN told AS t ON t.procedure_id = f.procedure_id
    LEFT JOIN first_conclusive AS c ON c.procedure_id = f.procedure_id
    WHERE f.started_on BETWEEN CAST($start AS DATE) AND CAST($end AS DATE)
),

step AS (
    SELECT 1 AS place, 'finding_to_advice' AS interval, procedure_id, site, started_on, found_on AS from_on, advised_on AS to_on
    FROM unit WHERE is_index
    UNION ALL
    SELECT 2, 'advice_to_biopsy', procedure_id, site, started_on, advised_on, started_on
    FROM unit WHERE is_index AND advised_on IS NOT NULL
    UNION ALL
    SELECT 3, 'biopsy_to_report', procedure_id, site, started_on, started_on, first_report_on
    FROM unit WHERE is_sampled
    UNION ALL
    SELECT 4, 'report_to_review', procedure_id, site, started_on, first_report_on, first_joint_review_on
    FROM unit WHERE is_sampled AND first_report_on IS NOT NULL
    UNION ALL
    SELECT 5, 'report_to_told', procedure_id, site, started_on, first_report_on, informed_on
    FROM unit WHERE is_sampled AND first_report_on IS NOT NULL
    UNION ALL
    SELECT 6, 'review_to_action', procedure_id, site, started_on, action_asked_on, least(excised_on, repeated_on)
    FROM unit WHERE action_asked_on IS NOT NULL
)

SELECT
    place,
    interval,
    procedure_id,
    site,
    started_on,
    from_on,
    to_on,
    CAST(date_diff('day', from_on, to_on) AS INTEGER) AS days
FROM step
ORDER BY place, started_on, procedure_id
