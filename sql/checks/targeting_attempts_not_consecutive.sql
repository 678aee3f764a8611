-- check: targeting_attempts_not_consecutive
-- table: targeting
-- column: attempt
-- severity: hold
-- message: The attempts of this procedure do not run 1, 2, 3 without a gap.
-- hint: Number them from 1 in their order.
-- series: procedure_id, attempt
WITH numbered AS (
    SELECT procedure_id, max(attempt) AS highest, count(*) AS placements
    FROM known_targeting
    GROUP BY procedure_id
    HAVING max(attempt) <> count(*)
)

SELECT t.row_no
FROM checked_targeting AS t
JOIN numbered ON numbered.procedure_id = t.procedure_id
