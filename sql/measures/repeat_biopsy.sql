-- measure: repeat_biopsy
-- kind: proportion
-- title: Repeat biopsy within a year
-- question: How often was the target sampled again within a year?
-- group: repeat_and_excision
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: a sampled repeat in the chain within 365 days
-- denominator: first sampled procedures of their chain
-- exclusions: not sampled (status not completed); repeat procedure (tissue was taken earlier in its chain of
--     repeats); window not complete (started fewer than 365 days before the as-of date)
-- window: 365 days after the procedure, last day included
-- interval: wilson
-- direction: context
-- source: second tissue sampling at the same target, first one counted (published series: 33/562, 16/417)
-- note: A sampled repeat is another sampled procedure of the chain that started later, on the same day or
--     after. Planned second steps are repeats too: see the repeat reasons.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_index THEN 'repeat procedure'
        WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 365 THEN 'window not complete'
    END AS excluded_because,
    coalesce(date_diff('day', started_on, first_repeat_on) <= 365, FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
