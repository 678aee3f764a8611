-- check: meetings_closed_before_held
-- table: meetings
-- column: closed_at
-- severity: hold
-- message: closed_at is before held_on.
-- hint: Correct one of the two.
SELECT row_no
FROM checked_meetings
WHERE CAST(closed_at AS DATE) < held_on
