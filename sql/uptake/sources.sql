-- uptake: sources
-- title: Radioactive sources of the service, as they are recorded now
-- grain: one row per source
SELECT source_id, site, nuclide, activity_mbq, reference_on, leak_test_on, coalesce(state, 'not recorded') AS state
FROM main.sources
ORDER BY site, reference_on DESC, source_id
