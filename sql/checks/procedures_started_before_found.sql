-- check: procedures_started_before_found
-- table: procedures
-- column: started_at
-- severity: hold
-- message: started_at is before the day on which the finding was found (order of events).
-- hint: Correct the procedure or the finding.
SELECT p.row_no
FROM checked_procedures AS p
JOIN known_findings AS f ON f.finding_id = p.finding_id
WHERE CAST(p.started_at AS DATE) < f.found_on
