-- check: patients_identifier_is_a_name
-- table: patients
-- column: patient_id
-- severity: stop
-- scope: batch
-- message: The patient key looks like a name or a national identifier: direct identifiers are not accepted.
-- hint: Send the key of the sending system instead.
SELECT p.row_no
FROM checked_patients AS p
JOIN patient_key AS k ON k.patient = p.patient
WHERE contains(k.patient_id, ' ')
    OR contains(k.patient_id, ',')
    OR regexp_full_match(k.patient_id, '[0-9]{3}-[0-9]{2}-[0-9]{4}')
