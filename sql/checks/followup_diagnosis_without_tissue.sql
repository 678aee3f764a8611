-- check: followup_diagnosis_without_tissue
-- table: followup
-- column: kind
-- severity: hold
-- message: A diagnosis is given without an excision or a registry linkage: an excision row is needed.
-- hint: Correct kind, or leave diagnosis empty.
SELECT row_no
FROM checked_followup
WHERE kind NOT IN ('excision', 'registry_linkage') AND diagnosis IS NOT NULL
