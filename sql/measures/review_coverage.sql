-- measure: review_coverage
-- kind: proportion
-- title: Jointly reviewed
-- question: How often was a reported biopsy discussed by radiologist and pathologist together?
-- group: concordance
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: at least one joint review
-- denominator: sampled procedures with a current report first issued at least 14 days ago
-- exclusions: not sampled (status not completed); no pathology report (no current report: none, preliminary
--     ones only, or retracted); first report fewer than 14 days before as_of (the time for a review is not
--     over)
-- window: none
-- interval: wilson
-- direction: higher
-- source: European consensus on MR-guided vacuum biopsy asks for all patients to be discussed and documented
--     (Eur J Radiol, doi 10.1016/j.ejrad.2008.07.010)
-- note: Provisional reviews, by the radiologist alone, do not count.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_reported THEN 'no pathology report'
        WHEN date_diff('day', first_report_on, CAST($as_of AS DATE)) < 14
            THEN 'first report fewer than 14 days before as_of'
    END AS excluded_because,
    first_joint_review_on IS NOT NULL AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
