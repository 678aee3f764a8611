-- check: procedures_marker_shape_repeated
-- table: procedures
-- column: marker_shape
-- severity: warning
-- message: The same marker shape was placed twice in one breast.
-- hint: Shapes should differ within one breast.
-- source: common practice
WITH placed AS (
    SELECT patient, laterality, marker_shape
    FROM known_visits
    WHERE marker = 'placed' AND marker_shape IS NOT NULL
    GROUP BY patient, laterality, marker_shape
    HAVING count(*) > 1
)

SELECT p.row_no
FROM checked_visits AS p
JOIN placed ON placed.patient = p.patient AND placed.laterality = p.laterality AND placed.marker_shape = p.marker_shape
