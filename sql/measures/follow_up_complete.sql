-- measure: follow_up_complete
-- kind: proportion
-- title: Follow-up complete
-- question: For how many benign results is the outcome at two years known?
-- group: follow_up
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: resolved: later cancer within 730 days, or excised within 730 days, or clear for at least 669
--     days (22 months)
-- denominator: first sampled procedures with a benign result, the patient not dead within 669 days
-- exclusions: not sampled (status not completed); repeat procedure (tissue was taken earlier in its chain of
--     repeats); window not complete (started fewer than 730 days before the as-of date); no pathology report
--     (no current report: none, preliminary ones only, or retracted); not a benign result (diagnosis neither
--     normal nor benign); died within 669 days (too early to be due)
-- window: 730 days after the procedure; seen clear from day 669 on
-- interval: wilson
-- direction: higher
-- source: follow-up done within window, as in AJR 2016;207:912 and AJR 2014 (PMID 24660725)
-- note: Later cancer is a malignant diagnosis (in_situ, invasive, other_malignant) found on any procedure of
--     the chain: by a sampled repeat that started later and has a current report (dated by its start), by
--     registry linkage from the day after the procedure, or by an excision from the day itself. An excision
--     or linkage stated to be from another site counts nowhere; where the site is not stated, it counts.
--     Clear until is the latest day of an imaging event in the chain that was resolved, decreased or stable
--     and can show the target, of an excision with a normal, benign or high-risk diagnosis, or of a linkage
--     without a malignant one. Imaging by another modality than tracer or MRI does not clear a target without
--     a correlate elsewhere.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN NOT is_index THEN 'repeat procedure'
        WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 730 THEN 'window not complete'
        WHEN NOT is_reported THEN 'no pathology report'
        WHEN NOT is_benign_result THEN 'not a benign result'
        WHEN date_diff('day', started_on, died_on) <= 669 THEN 'died within 669 days'
    END AS excluded_because,
    is_resolved AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
