-- check: specimens_more_cores_than_taken
-- table: specimens
-- column: cores
-- severity: warning
-- message: The containers hold more cores than the procedure took.
-- hint: Correct one of the two.
WITH held AS (
    SELECT procedure_id, sum(cores) AS cores
    FROM known_specimens
    GROUP BY procedure_id
)

SELECT s.row_no
FROM checked_specimens AS s
JOIN held ON held.procedure_id = s.procedure_id
JOIN known_visits AS p ON p.procedure_id = s.procedure_id
WHERE held.cores > p.cores
