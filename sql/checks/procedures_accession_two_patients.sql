-- check: procedures_accession_two_patients
-- table: procedures
-- column: accession
-- severity: review
-- message: The accession number is that of another patient too.
-- hint: Correct it, or confirm that it is right.
WITH shared AS (
    SELECT accession
    FROM known_visits
    WHERE accession IS NOT NULL
    GROUP BY accession
    HAVING min(patient) <> max(patient)
)

SELECT p.row_no
FROM checked_visits AS p
JOIN shared ON shared.accession = p.accession
