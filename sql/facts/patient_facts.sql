-- facts: patient_facts
-- grain: one row per patient with a procedure
-- title: How many procedures a patient had, and when the patient died
WITH person AS (
    SELECT patient, count(*) AS procedures
    FROM unit_facts
    GROUP BY patient
),

death AS (
    SELECT u.patient, e.happened_on AS died_on
    FROM scope_followup AS e
    JOIN unit_facts AS u ON u.procedure_id = e.procedure_id
    WHERE e.kind = 'death' AND e.happened_on <= CAST($as_of AS DATE)
    UNION ALL
    SELECT patient, death_date AS died_on
    FROM scope_patients
    WHERE death_date <= CAST($as_of AS DATE)
),

first_death AS (
    SELECT patient, min(died_on) AS died_on
    FROM death
    GROUP BY patient
)

SELECT
    p.patient,
    -- Continues after the numbers in use: a refresh replaces all procedures of a patient at once.
    (SELECT coalesce(max(patient_no), 0) FROM procedure_facts) + row_number() OVER () AS patient_no,
    p.procedures,
    d.died_on
FROM person AS p
LEFT JOIN first_death AS d ON d.patient = p.patient
