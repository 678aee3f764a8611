-- check: procedures_accession_two_patients
-- table: procedures
-- column: accession
-- severity: review
-- message: The accession number is that of another patient too.
-- hint: Correct it, or confirm that it is right.
WITH owned AS (
    SELECT a.accession, a.procedure_id, f.patient
    FROM known_accession AS a
    JOIN known_procedures AS p ON p.procedure_id = a.procedure_id
    JOIN known_findings AS f ON f.finding_id = p.finding_id
),

shared AS (
    SELECT accession
    FROM owned
    GROUP BY accession
    HAVING min(patient) <> max(patient)
)

SELECT p.row_no
FROM checked_procedures AS p
JOIN shared ON shared.accession = p.accession
