-- check: followup_outcome_missing
-- table: followup
-- column: imaging_outcome
-- severity: hold
-- message: imaging_outcome is required for an imaging event.
-- hint: Say what the examination showed.
SELECT row_no
FROM checked_followup
WHERE kind = 'imaging' AND imaging_outcome IS NULL
