-- check: specimens_order_repeated
-- table: specimens
-- column: taken_order
-- severity: hold
-- message: Two containers of one procedure have the same taken_order (duplicate specimen number).
-- hint: Number the containers in the order in which they were filled.
WITH repeated AS (
    SELECT procedure_id, taken_order
    FROM known_specimens
    WHERE taken_order IS NOT NULL
    GROUP BY procedure_id, taken_order
    HAVING count(*) > 1
)

SELECT s.row_no
FROM checked_specimens AS s
JOIN repeated ON repeated.procedure_id = s.procedure_id AND repeated.taken_order = s.taken_order
