-- measure: later_cancer_after_concordant
-- kind: proportion
-- title: Later cancer after a benign concordant result
-- question: How often did cancer come to light within two years of a benign result that was held to explain
--     the image?
-- group: follow_up
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: later cancer within 730 days
-- denominator: first sampled procedures with a benign result, concordant at the first conclusive review, that
--     are resolved
-- exclusions: not sampled (status not completed); repeat procedure (tissue was taken earlier in its chain of
--     repeats); window not complete (started fewer than 730 days before the as-of date); no pathology report
--     (no current report: none, preliminary ones only, or retracted); not a benign result (diagnosis neither
--     normal nor benign); first conclusive review not concordant (it is absent or discordant); not resolved
--     (neither later cancer nor excision within 730 days, nor clear for 669 days)
-- window: 730 days after the procedure, last day included
-- interval: wilson
-- bounds: missing
-- direction: lower
-- source: benign concordant with follow-up (AJR 2016;207:912, doi 10.2214/AJR.15.15853)
-- note: Later cancer is a malignant diagnosis (in_situ, invasive, other_malignant) found on any procedure of
--     the chain: by a sampled repeat that started later and has a current report (dated by its start), by
--     registry linkage from the day after the procedure, or by an excision from the day itself. An excision
--     or linkage stated to be from another site counts nowhere; where the site is not stated, it counts.
--     Clear until is the latest day of an imaging event in the chain that was resolved, decreased or stable
--     and can show the target, of an excision with a normal, benign or high-risk diagnosis, or of a linkage
--     without a malignant one. Imaging by another modality than tracer or MRI does not clear a target without
--     a correlate elsewhere.
-- caution: Who comes back is not a random part: read the bounds.
WITH unit AS (
    SELECT
        procedure_id,
        started_on,
        CASE
            WHEN NOT is_sampled THEN 'not sampled'
            WHEN NOT is_index THEN 'repeat procedure'
            WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 730 THEN 'window not complete'
            WHEN NOT is_reported THEN 'no pathology report'
            WHEN NOT is_benign_result THEN 'not a benign result'
            WHEN coalesce(first_conclusive <> 'concordant', TRUE) THEN 'first conclusive review not concordant'
            WHEN NOT is_resolved THEN 'not resolved'
        END AS excluded_because,
        coalesce(date_diff('day', started_on, later_cancer_on) <= 730, FALSE) AS in_numerator
    FROM procedure_facts
    WHERE started_on <= CAST($as_of AS DATE)
)

SELECT
    procedure_id,
    started_on AS index_date,
    excluded_because,
    in_numerator,
    CASE WHEN excluded_because = 'not resolved' THEN 'u' END AS unknown
FROM unit
