-- check: pathology_behaviour_and_diagnosis
-- table: pathology
-- column: morphology
-- severity: warning
-- message: The behaviour digit and the diagnosis do not fit.
-- hint: Ask the pathologist; the record keeps both.
-- source: ICD-O-3 behaviour: 0 benign, 1 uncertain, 2 in situ, 3 malignant
SELECT row_no
FROM checked_pathology
WHERE (diagnosis = 'invasive' AND morphology NOT LIKE '%/3') OR (diagnosis IN ('normal', 'benign') AND (morphology LIKE '%/2' OR morphology LIKE '%/3'))
