-- measure: upgrade_in_situ
-- kind: proportion
-- title: Invasion at excision of in situ cancer
-- question: How often did excision show invasion after an in situ result?
-- group: repeat_and_excision
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: worst diagnosis at excision within 365 days invasive or other_malignant
-- denominator: first sampled procedures with an in situ result and an excision within 365 days
-- exclusions: not sampled (status not completed); repeat procedure (tissue was taken earlier in its chain of
--     repeats); window not complete (started fewer than 365 days before the as-of date); no pathology report
--     (no current report: none, preliminary ones only, or retracted); not in situ (diagnosis not in_situ);
--     not excised (no excision within 365 days)
-- window: 365 days after the procedure, first and last day included
-- interval: wilson
-- bounds: missing
-- direction: context
-- source: in situ underestimate: Radiology 2011, doi 10.1148/radiol.11102368
-- note: An excision counts from the day of the procedure on, on any procedure of the chain, unless it is
--     stated to be from another site.
WITH unit AS (
    SELECT
        procedure_id,
        started_on,
        CASE
            WHEN NOT is_sampled THEN 'not sampled'
            WHEN NOT is_index THEN 'repeat procedure'
            WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 365 THEN 'window not complete'
            WHEN NOT is_reported THEN 'no pathology report'
            WHEN coalesce(diagnosis <> 'in_situ', TRUE) THEN 'not in situ'
            WHEN NOT coalesce(date_diff('day', started_on, first_excision_on) <= 365, FALSE) THEN 'not excised'
        END AS excluded_because,
        coalesce(excision_diagnosis IN ('invasive', 'other_malignant'), FALSE) AS in_numerator
    FROM procedure_facts
    WHERE started_on <= CAST($as_of AS DATE)
)

SELECT
    procedure_id,
    started_on AS index_date,
    excluded_because,
    in_numerator,
    CASE WHEN excluded_because = 'not excised' THEN 'u' END AS unknown
FROM unit
