-- check: specimens_seconds_look_like_minutes
-- table: specimens
-- column: scan_seconds
-- severity: review
-- scope: batch
-- message: scan_seconds is about 60 times smaller than in the rest of the batch: it looks like minutes.
-- hint: Convert it to seconds, or confirm.
WITH usual AS (
    SELECT median(scan_seconds) AS seconds
    FROM checked_specimens
    WHERE scan_seconds IS NOT NULL
    HAVING count(*) >= 5
)

SELECT s.row_no
FROM checked_specimens AS s, usual
WHERE usual.seconds / s.scan_seconds BETWEEN 35 AND 90
