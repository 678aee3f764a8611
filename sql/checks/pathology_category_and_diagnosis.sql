-- check: pathology_category_and_diagnosis
-- table: pathology
-- column: b_category
-- severity: warning
-- message: The B category and the diagnosis do not fit.
-- hint: Ask the pathologist; the record keeps both.
-- source: common practice
SELECT row_no
FROM checked_pathology
WHERE (b_category IN ('B1', 'B2') AND diagnosis IN ('in_situ', 'invasive', 'other_malignant')) OR (b_category LIKE 'B5%' AND diagnosis IN ('insufficient', 'normal', 'benign', 'high_risk'))
