-- measure: missed_at_biopsy
-- kind: proportion
-- title: Cancer not called malignant at biopsy
-- question: Which share of the cancers had no malignant biopsy?
-- group: follow_up
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: not malignant at biopsy
-- denominator: first sampled, reported procedures with cancer at biopsy or later cancer within 730 days
-- exclusions: not sampled (status not completed); repeat procedure (tissue was taken earlier in its chain of
--     repeats); window not complete (started fewer than 730 days before the as-of date); no pathology report
--     (no current report: none, preliminary ones only, or retracted); no cancer (neither malignant at biopsy
--     nor later cancer within 730 days)
-- window: 730 days after the procedure, last day included
-- interval: wilson
-- bounds: cancers
-- direction: lower
-- source: one minus sensitivity, cancers as denominator; common practice
-- note: Later cancer is a malignant diagnosis (in_situ, invasive, other_malignant) found on any procedure of
--     the chain: by a sampled repeat that started later and has a current report (dated by its start), by
--     registry linkage from the day after the procedure, or by an excision from the day itself. An excision
--     or linkage stated to be from another site counts nowhere; where the site is not stated, it counts.
--     Clear until is the latest day of an imaging event in the chain that was resolved, decreased or stable
--     and can show the target, of an excision with a normal, benign or high-risk diagnosis, or of a linkage
--     without a malignant one. Imaging by another modality than tracer or MRI does not clear a target without
--     a correlate elsewhere. Unknown are units without cancer that are not resolved; each of them could be a
--     missed cancer.
-- caution: Benign is not proven benign before its follow-up is complete.
WITH unit AS (
    SELECT
        procedure_id,
        started_on,
        CASE
            WHEN NOT is_sampled THEN 'not sampled'
            WHEN NOT is_index THEN 'repeat procedure'
            WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 730 THEN 'window not complete'
            WHEN NOT is_reported THEN 'no pathology report'
            WHEN NOT is_malignant AND NOT coalesce(date_diff('day', started_on, later_cancer_on) <= 730, FALSE)
                THEN 'no cancer'
        END AS excluded_because,
        NOT is_malignant AS in_numerator,
        is_resolved
    FROM procedure_facts
    WHERE started_on <= CAST($as_of AS DATE)
)

SELECT
    procedure_id,
    started_on AS index_date,
    excluded_because,
    in_numerator,
    CASE WHEN excluded_because = 'no cancer' AND NOT is_resolved THEN 'u' END AS unknown
FROM unit
