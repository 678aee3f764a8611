-- check: followup_diagnosis_missing
-- table: followup
-- column: diagnosis
-- severity: hold
-- message: diagnosis is required for an excision or a registry linkage.
-- hint: Give the final diagnosis (none only for a linkage).
SELECT row_no
FROM checked_followup
WHERE kind IN ('excision', 'registry_linkage') AND diagnosis IS NULL
