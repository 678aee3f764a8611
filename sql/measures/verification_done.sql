-- measure: verification_done
-- kind: proportion
-- title: Verification scan done
-- question: How often was the needle position verified before sampling?
-- group: targeting
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: verification done at the last attempt; no targeting record counts as not done
-- denominator: sampled procedures under tracer or MRI guidance
-- exclusions: not sampled (status not completed); guidance not pet_tracer, gamma_tracer or mri (the others
--     see the needle as it goes in)
-- window: none
-- interval: wilson
-- direction: higher
-- source: common practice
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN guidance NOT IN ('pet_tracer', 'gamma_tracer', 'mri')
            THEN 'guidance not pet_tracer, gamma_tracer or mri'
    END AS excluded_because,
    is_verified AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
