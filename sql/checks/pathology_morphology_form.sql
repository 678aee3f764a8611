-- check: pathology_morphology_form
-- table: pathology
-- column: morphology
-- severity: hold
-- message: morphology is not of the form NNNN/B.
-- hint: Write the ICD-O-3 code, such as 8500/3.
-- source: ICD-O-3: four digits of histology, one of behaviour
SELECT row_no
FROM checked_pathology
WHERE NOT regexp_full_match(morphology, '[0-9]{4}/[0-9]')
