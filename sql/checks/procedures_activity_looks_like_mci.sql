-- check: procedures_activity_looks_like_mci
-- table: procedures
-- column: activity_mbq
-- severity: review
-- scope: batch
-- message: activity_mbq is about 37 times smaller than in the rest of the batch: it looks like mCi.
-- hint: Convert it to MBq (1 mCi is 37 MBq), or confirm.
-- source: 1 mCi = 37 MBq exactly
WITH usual AS (
    SELECT tracer, median(activity_mbq) AS activity
    FROM checked_procedures
    WHERE activity_mbq IS NOT NULL
    GROUP BY tracer
    HAVING count(*) >= 5
)

SELECT p.row_no
FROM checked_procedures AS p
JOIN usual ON usual.tracer = p.tracer
WHERE usual.activity / p.activity_mbq BETWEEN 15 AND 80
