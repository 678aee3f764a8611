-- measure: discordant_resolved
-- kind: proportion
-- title: Discordance followed by tissue within 60 days
-- question: How often did a discordant result lead to another biopsy or to surgery in time?
-- group: concordance
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: a sampled repeat, or an excision, after the procedure and up to 60 days after the discordant
--     review
-- denominator: sampled, reported procedures whose first conclusive review was discordant at least 60 days ago
-- exclusions: not sampled (status not completed); no pathology report (no current report: none, preliminary
--     ones only, or retracted); not discordant (the first conclusive review is absent or concordant); that
--     review fewer than 60 days before as_of (the time to resolve it is not over)
-- window: from the procedure to 60 days after that review, last day included
-- interval: wilson
-- direction: higher
-- source: common practice
-- note: Joint reviews stand in the order of their day and key; provisional ones never count. Conclusive is
--     concordant or discordant. An excision counts from the day of the procedure on, on any procedure of the
--     chain, unless it is stated to be from another site.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_reported THEN 'no pathology report'
        WHEN coalesce(first_conclusive <> 'discordant', TRUE) THEN 'not discordant'
        WHEN date_diff('day', first_conclusive_on, CAST($as_of AS DATE)) < 60
            THEN 'that review fewer than 60 days before as_of'
    END AS excluded_because,
    coalesce(date_diff('day', first_conclusive_on, first_repeat_on) <= 60, FALSE)
    OR coalesce(date_diff('day', first_conclusive_on, first_excision_on) <= 60, FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
