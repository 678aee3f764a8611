-- check: procedures_marker_shape_repeated
-- table: procedures
-- column: marker_shape
-- severity: warning
-- message: The same marker shape was placed twice in one breast.
-- hint: Shapes should differ within one breast.
-- source: common practice
WITH placed AS (
    SELECT f.patient, f.laterality, p.marker_shape
    FROM known_procedures AS p
    JOIN known_findings AS f ON f.finding_id = p.finding_id
    WHERE p.marker = 'placed' AND p.marker_shape IS NOT NULL
    GROUP BY f.patient, f.laterality, p.marker_shape
    HAVING count(*) > 1
)

SELECT p.row_no
FROM checked_procedures AS p
JOIN known_findings AS f ON f.finding_id = p.finding_id
JOIN placed ON placed.patient = f.patient AND placed.laterality = f.laterality AND placed.marker_shape = p.marker_shape
