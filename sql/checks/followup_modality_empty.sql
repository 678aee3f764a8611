-- check: followup_modality_empty
-- table: followup
-- column: modality
-- severity: note
-- message: The modality of an examination is empty: it is taken as one that can show the target.
-- hint: State the modality.
SELECT row_no
FROM checked_followup
WHERE kind = 'imaging' AND modality IS NULL
