-- measure: target_seen
-- kind: proportion
-- title: Target seen again on the day
-- question: How often was the tracer target seen again before needle entry?
-- group: yield
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: target seen as yes or faint
-- denominator: tracer-guided procedures with a statement
-- exclusions: not tracer guided (guidance not pet_tracer or gamma_tracer); not recorded (empty or
--     not_applicable)
-- window: none
-- interval: wilson
-- direction: context
-- source: common practice
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_tracer_guided THEN 'not tracer guided'
        WHEN coalesce(target_seen, 'not_applicable') = 'not_applicable' THEN 'not recorded'
    END AS excluded_because,
    coalesce(target_seen IN ('yes', 'faint'), FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
