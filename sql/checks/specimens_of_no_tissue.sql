-- check: specimens_of_no_tissue
-- table: specimens
-- column: procedure_id
-- severity: hold
-- message: The procedure took no tissue (status or cores), yet it has a container (contradiction).
-- hint: Correct the procedure or the container.
SELECT s.row_no
FROM checked_specimens AS s
JOIN known_visits AS p ON p.procedure_id = s.procedure_id
WHERE p.status <> 'completed' OR p.cores = 0
