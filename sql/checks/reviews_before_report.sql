-- check: reviews_before_report
-- table: reviews
-- column: reviewed_on
-- severity: hold
-- message: The review is before the first version of any report of the procedure (order of events).
-- hint: Correct one of the two dates.
WITH first_version AS (
    SELECT procedure_id, min(reported_on) AS reported_on
    FROM known_pathology
    GROUP BY procedure_id
)

SELECT v.row_no
FROM checked_reviews AS v
JOIN first_version ON first_version.procedure_id = v.procedure_id
WHERE v.reviewed_on < first_version.reported_on
