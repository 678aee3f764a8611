-- check: procedures_cores_without_tissue
-- table: procedures
-- column: cores
-- severity: hold
-- message: Cores are given although no tissue was taken (contradiction).
-- hint: Correct status or cores.
SELECT row_no
FROM checked_procedures
WHERE status <> 'completed' AND cores > 0
