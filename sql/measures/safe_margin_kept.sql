-- measure: safe_margin_kept
-- kind: proportion
-- title: Safe margin kept
-- question: How often was there enough breast beyond the target for the needle?
-- group: targeting
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: safe margin at least 20 mm (local default)
-- denominator: sampled procedures with the margin recorded
-- exclusions: not sampled (status not completed); safe margin not recorded (empty)
-- window: none
-- interval: wilson
-- direction: higher
-- source: local default; no published standard found
-- note: The margin is the distance from the centre of the target to the far side of the breast along the
--     needle. The limit is safe_margin_min_mm of site.toml.
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN safe_margin_mm IS NULL THEN 'safe margin not recorded'
    END AS excluded_because,
    coalesce(
        safe_margin_mm >= (SELECT number FROM site_setting WHERE name = 'safe_margin_min_mm') - 1e-9,
        FALSE
    ) AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
