-- uptake: constancy
-- title: Count rates of the sources, by scanner
-- grain: one row per constancy check of the kind counts whose source is recorded
SELECT
    c.check_id,
    c.site,
    coalesce(c.scanner, 'not recorded') AS scanner,
    CAST(c.done_at AS DATE) AS done_on,
    c.source_id,
    c.counts,
    c.seconds,
    s.nuclide,
    s.activity_mbq,
    s.reference_on
FROM main.constancy AS c
JOIN main.sources AS s ON s.source_id = c.source_id
WHERE c.kind = 'counts'
    AND c.counts IS NOT NULL
    AND c.seconds > 0
    AND CAST(c.done_at AS DATE) <= CAST($as_of AS DATE)
ORDER BY c.site, scanner, c.done_at, c.check_id
