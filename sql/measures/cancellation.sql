-- measure: cancellation
-- kind: proportion
-- title: Cancelled before needle entry
-- question: How often was a booked biopsy cancelled before needle entry?
-- group: yield
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: cancelled: ended before needle entry, for whatever reason
-- denominator: all procedures
-- exclusions: none
-- window: none
-- interval: wilson
-- direction: context
-- source: cancellation of MRI-guided biopsy is reported this way (Acad Radiol; Radiology; PMID 24370148)
-- caution: A cancelled target is not proven benign: see "Later cancer where nothing was sampled".
SELECT
    procedure_id,
    started_on AS index_date,
    CAST(NULL AS VARCHAR) AS excluded_because,
    status = 'cancelled' AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
