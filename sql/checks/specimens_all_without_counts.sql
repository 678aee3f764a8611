-- check: specimens_all_without_counts
-- table: specimens
-- column: counts
-- severity: warning
-- scope: batch
-- message: Every container of the batch has 0 counts: a question of the detector or of the time window.
-- hint: Check the scan.
WITH scanned AS (
    SELECT count(*) AS scans
    FROM checked_specimens
    WHERE counts IS NOT NULL
    HAVING count(*) >= 2 AND max(counts) = 0
)

SELECT s.row_no
FROM checked_specimens AS s, scanned
WHERE s.counts = 0
