-- check: procedures_started_in_future
-- table: procedures
-- column: started_at
-- severity: hold
-- message: started_at is later than today at the site.
-- hint: Correct the date.
SELECT row_no
FROM checked_procedures
WHERE CAST(started_at AS DATE) > $today
