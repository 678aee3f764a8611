-- measure: cancer_in_discordant
-- kind: proportion
-- title: Cancer after a discordant result
-- question: How often did later tissue show cancer after a discordant result?
-- group: concordance
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: later cancer within 365 days
-- denominator: sampled procedures with a discordant first conclusive review and later tissue within 365 days
-- exclusions: not sampled (status not completed); no pathology report (no current report: none, preliminary
--     ones only, or retracted); not discordant (the first conclusive review is absent or concordant); window
--     not complete (started fewer than 365 days before the as-of date); no later tissue (no sampled repeat
--     with a current report and no excision within 365 days)
-- window: 365 days after the procedure, last day included
-- interval: wilson
-- bounds: missing
-- direction: context
-- source: malignant at repeat or excision among discordant with tissue, as in published series (17/55, 6/20,
--     7/103)
-- note: Later cancer is a malignant diagnosis (in_situ, invasive, other_malignant) found on any procedure of
--     the chain: by a sampled repeat that started later and has a current report (dated by its start), by
--     registry linkage from the day after the procedure, or by an excision from the day itself. An excision
--     or linkage stated to be from another site counts nowhere; where the site is not stated, it counts.
WITH unit AS (
    SELECT
        procedure_id,
        started_on,
        CASE
            WHEN NOT is_sampled THEN 'not sampled'
            WHEN NOT is_reported THEN 'no pathology report'
            WHEN coalesce(first_conclusive <> 'discordant', TRUE) THEN 'not discordant'
            WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 365 THEN 'window not complete'
            WHEN NOT coalesce(date_diff('day', started_on, first_reported_repeat_on) <= 365, FALSE)
                AND NOT coalesce(date_diff('day', started_on, first_excision_on) <= 365, FALSE)
                THEN 'no later tissue'
        END AS excluded_because,
        coalesce(date_diff('day', started_on, later_cancer_on) <= 365, FALSE) AS in_numerator
    FROM procedure_facts
    WHERE started_on <= CAST($as_of AS DATE)
)

SELECT
    procedure_id,
    started_on AS index_date,
    excluded_because,
    in_numerator,
    CASE WHEN excluded_because = 'no later tissue' THEN 'u' END AS unknown
FROM unit
