-- check: procedures_repeat_cycle
-- table: procedures
-- column: repeat_of
-- severity: hold
-- message: The links of repeat_of run in a circle:
-- hint: Name the earlier procedure of each; the first one repeats none.
WITH RECURSIVE linked AS (
    SELECT procedure_id, repeat_of
    FROM known_procedures
    WHERE repeat_of IS NOT NULL AND repeat_of <> procedure_id
),

walk AS (
    SELECT procedure_id AS origin, repeat_of AS reached, 1 AS steps, procedure_id || ' -> ' || repeat_of AS path
    FROM linked
    UNION ALL
    SELECT walk.origin, linked.repeat_of, walk.steps + 1, walk.path || ' -> ' || linked.repeat_of
    FROM walk
    JOIN linked ON linked.procedure_id = walk.reached
    WHERE walk.reached <> walk.origin AND walk.steps < 50
)

SELECT p.row_no, min(walk.path) AS detail
FROM checked_procedures AS p
JOIN walk ON walk.origin = p.procedure_id AND walk.reached = p.procedure_id
GROUP BY p.row_no
