-- check: targeting_looks_like_cm
-- table: targeting
-- column: planned_z_mm
-- severity: review
-- scope: batch
-- message: The coordinate is about ten times smaller than all others of the batch: it looks like cm.
-- hint: Convert it to mm, or confirm.
WITH series AS (
    SELECT
        quantile_cont(planned_z_mm, 0.1) AS low,
        quantile_cont(planned_z_mm, 0.9) AS high
    FROM checked_targeting
    HAVING count(*) >= 20 AND min(planned_z_mm) >= 0
)

SELECT t.row_no
FROM checked_targeting AS t, series
WHERE series.low >= 20
    AND t.planned_z_mm < series.low / 3
    AND t.planned_z_mm * 10 BETWEEN series.low AND series.high
