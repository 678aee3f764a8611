-- check: targeting_length_matched_missing
-- table: targeting
-- column: length_matched
-- severity: hold
-- message: length_matched is required where a radioactive source stood in for the needle.
-- hint: Say whether the source was matched in length to the sampling device.
SELECT row_no
FROM checked_targeting
WHERE stand_in = 'radioactive_source' AND length_matched IS NULL
