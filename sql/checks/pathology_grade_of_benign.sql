-- check: pathology_grade_of_benign
-- table: pathology
-- column: grade
-- severity: hold
-- message: A grade is given with a diagnosis that is not malignant (contradiction).
-- hint: Correct the diagnosis or leave grade empty.
SELECT row_no
FROM checked_pathology
WHERE grade IS NOT NULL AND diagnosis NOT IN ('in_situ', 'invasive', 'other_malignant')
