-- check: findings_advised_before_found
-- table: findings
-- column: biopsy_advised_on
-- severity: hold
-- message: biopsy_advised_on is before found_on.
-- hint: Correct one of the two dates.
SELECT row_no
FROM checked_findings
WHERE biopsy_advised_on < found_on
