-- check: pathology_other_lesions_codes
-- table: pathology
-- column: other_lesions
-- severity: hold
-- message: other_lesions holds a code that is not in the list of lesions:
-- hint: Use the codes of lesion, separated by semicolons.
WITH named AS (
    SELECT row_no, unnest(string_split(other_lesions, ';')) AS code
    FROM checked_pathology
    WHERE other_lesions IS NOT NULL
)

SELECT row_no, min(code) AS detail
FROM named
WHERE trim(code) NOT IN (SELECT code FROM lesion_code)
GROUP BY row_no
