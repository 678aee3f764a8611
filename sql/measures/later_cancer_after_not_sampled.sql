-- measure: later_cancer_after_not_sampled
-- kind: proportion
-- title: Later cancer where nothing was sampled
-- question: How often did cancer come to light within two years of a cancelled or abandoned biopsy?
-- group: follow_up
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: later cancer within 730 days
-- denominator: procedures that ended without tissue, whose target was not sampled soon after, and that are
--     resolved
-- exclusions: sampled (status completed); sampled otherwise (another procedure at the finding or in the chain
--     took tissue 0 to 60 days after, a local default); window not complete (started fewer than 730 days
--     before the as-of date); not resolved (neither later cancer nor excision within 730 days, nor clear for
--     669 days)
-- window: 730 days after the procedure, last day included
-- interval: wilson
-- bounds: missing
-- direction: lower
-- source: cancer at the site among cancelled with follow-up (published: 5/50, PMID 24370148)
-- note: Later cancer is a malignant diagnosis (in_situ, invasive, other_malignant) found on any procedure of
--     the chain: by a sampled repeat that started later and has a current report (dated by its start), by
--     registry linkage from the day after the procedure, or by an excision from the day itself. An excision
--     or linkage stated to be from another site counts nowhere; where the site is not stated, it counts.
--     Clear until is the latest day of an imaging event in the chain that was resolved, decreased or stable
--     and can show the target, of an excision with a normal, benign or high-risk diagnosis, or of a linkage
--     without a malignant one. Imaging by another modality than tracer or MRI does not clear a target without
--     a correlate elsewhere. The 60 days are sampled_otherwise_days of site.toml.
WITH unit AS (
    SELECT
        procedure_id,
        started_on,
        CASE
            WHEN is_sampled THEN 'sampled'
            WHEN date_diff('day', started_on, sampled_otherwise_on)
                <= (SELECT number FROM site_setting WHERE name = 'sampled_otherwise_days')
                THEN 'sampled otherwise'
            WHEN date_diff('day', started_on, CAST($as_of AS DATE)) < 730 THEN 'window not complete'
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
