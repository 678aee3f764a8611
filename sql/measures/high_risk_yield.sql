-- measure: high_risk_yield
-- kind: proportion
-- title: High-risk lesion at biopsy
-- question: How often did the first tissue from a target show a high-risk lesion as the worst diagnosis?
-- group: yield
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: worst diagnosis high_risk
-- denominator: first sampled procedures of their chain, with a current report
-- exclusions: not sampled (status not completed); repeat procedure (tissue was taken earlier in its chain of
--     repeats); report window not complete (started fewer than 30 days before the as-of date, reported or
--     not); no pathology report (no current report: none, preliminary ones only, or retracted)
-- window: 30 days for the report to arrive
-- interval: wilson
-- direction: context
-- source: common practice
-- note: The current version of a report is its highest version that is not preliminary; a retracted one voids
--     the report. The diagnosis is the worst among the current reports.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_index THEN 'repeat procedure'
        WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 30 THEN 'report window not complete'
        WHEN NOT is_reported THEN 'no pathology report'
    END AS excluded_because,
    coalesce(diagnosis = 'high_risk', FALSE) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
