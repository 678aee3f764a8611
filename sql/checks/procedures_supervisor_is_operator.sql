-- check: procedures_supervisor_is_operator
-- table: procedures
-- column: supervisor
-- severity: hold
-- message: supervisor is the operator.
-- hint: Leave supervisor empty where nobody supervised.
SELECT row_no
FROM checked_procedures
WHERE supervisor = operator
