-- uptake: clocks
-- title: Scanner clocks against a reference clock
-- grain: one row per constancy check of the kind clock with an offset
-- note: Offset is scanner clock minus reference clock: positive = the scanner is ahead.
SELECT
    check_id,
    site,
    coalesce(scanner, 'not recorded') AS scanner,
    CAST(done_at AS DATE) AS done_on,
    clock_offset_s AS offset_s
FROM main.constancy
WHERE kind = 'clock'
    AND clock_offset_s IS NOT NULL
    AND CAST(done_at AS DATE) <= CAST($as_of AS DATE)
ORDER BY site, scanner, done_at, check_id
