-- check: targeting_achieved_copied
-- table: targeting
-- column: achieved_x_mm
-- severity: warning
-- scope: batch
-- message: Achieved equals planned to the last digit in every row of the batch: it looks copied.
-- hint: Give the position read from the verification scan.
WITH judged AS (
    SELECT count(*) AS placements
    FROM checked_targeting
    WHERE achieved_x_mm IS NOT NULL
    HAVING count(*) >= 10
        AND bool_and(achieved_x_mm = planned_x_mm AND achieved_y_mm = planned_y_mm AND achieved_z_mm = planned_z_mm)
)

SELECT t.row_no
FROM checked_targeting AS t, judged
WHERE t.achieved_x_mm IS NOT NULL
