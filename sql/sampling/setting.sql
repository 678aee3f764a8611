-- sampling: setting
-- title: Local numbers of the site, and how far targets moved between plan and verification
-- grain: one row
-- note: The motion is that of the measure target_motion_mm, over procedures whose target was re-seen.
SELECT
    max(number) FILTER (WHERE name = 'tissue_reach_from_mm') AS tissue_reach_from_mm,
    max(number) FILTER (WHERE name = 'tissue_reach_mm') AS tissue_reach_mm,
    max(number) FILTER (WHERE name = 'tissue_reach_to_mm') AS tissue_reach_to_mm,
    max(number) FILTER (WHERE name = 'sampled_share') AS sampled_share,
    max(number) FILTER (WHERE name = 'slices_per_view') AS slices_per_view,
    max(number) FILTER (WHERE name = 'minimum_n') AS minimum_n,
    (
        SELECT count(target_motion_mm) FROM procedure_facts
        WHERE is_sampled AND started_on <= CAST($as_of AS DATE)
    ) AS motions,
    -- Length squared is the sum over three axes: a third of it is the mean square of one.
    (
        SELECT sqrt(avg(target_motion_mm * target_motion_mm) / 3) FROM procedure_facts
        WHERE is_sampled AND started_on <= CAST($as_of AS DATE)
    ) AS motion_sd_mm
FROM site_setting
