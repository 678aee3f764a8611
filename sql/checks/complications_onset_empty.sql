-- check: complications_onset_empty
-- table: complications
-- column: onset_on
-- severity: note
-- message: onset_on is empty: the complication is not counted within 30 days.
-- hint: Give the day.
SELECT row_no
FROM checked_complications
WHERE onset_on IS NULL
