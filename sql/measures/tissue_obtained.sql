-- measure: tissue_obtained
-- kind: proportion
-- title: Tissue obtained
-- question: How often did an attempt that entered the breast end with tissue?
-- group: yield
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: sampled: status completed
-- denominator: attempted: the needle entered, with or without tissue
-- exclusions: cancelled (ended before needle entry)
-- window: none
-- interval: wilson
-- direction: higher
-- source: procedural success among attempts, as in pooled MRI-guided series (Eur J Breast Health
--     2023;19:1-27)
-- caution: Tissue obtained is not target sampled: see "Sampling of the target confirmed".
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN status = 'cancelled' THEN 'cancelled'
    END AS excluded_because,
    is_sampled AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
