-- check: procedures_sampled_hours_form
-- table: procedures
-- column: sampled_hours
-- severity: hold
-- message: sampled_hours is neither all nor hours 1 to 12 separated by semicolons.
-- hint: Write all, or such as 10;11;12;1.
SELECT row_no
FROM checked_procedures
WHERE sampled_hours <> 'all' AND NOT regexp_full_match(sampled_hours, '([1-9]|1[0-2])(;([1-9]|1[0-2]))*')
