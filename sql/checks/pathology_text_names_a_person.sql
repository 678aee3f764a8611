-- check: pathology_text_names_a_person
-- table: pathology
-- column: conclusion
-- severity: review
-- message: The text seems to hold a name, a birth date or a telephone number (possible direct identifier).
-- hint: Remove it, or confirm that it names nobody.
SELECT row_no
FROM checked_pathology
WHERE conclusion IS NOT NULL AND regexp_matches(conclusion, '(?i)\b(mrs|mr|ms|miss|frau|herr|mme)\b\.?\s+\S{2,}|\bborn\b.{0,15}[0-9]|\b(phone|tel)\b[^0-9]{0,8}[0-9]{3,}')
