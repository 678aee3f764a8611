-- check: targeting_direction_empty
-- table: targeting
-- column: needle_direction
-- severity: note
-- message: needle_direction is empty and is read as plus.
-- hint: State the sense of advance.
SELECT row_no
FROM checked_targeting
WHERE needle_direction IS NULL AND needle_axis <> 'oblique'
