-- check: sources_leak_test_before_reference
-- table: sources
-- column: leak_test_on
-- severity: hold
-- message: leak_test_on is before reference_on.
-- hint: Correct one of the two dates.
SELECT row_no
FROM checked_sources
WHERE leak_test_on < reference_on
