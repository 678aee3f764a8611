-- meetings: sites
-- title: Sites of the registry
-- grain: one row per site that has a procedure
SELECT DISTINCT site FROM main.procedures ORDER BY site
