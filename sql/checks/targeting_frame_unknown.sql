-- check: targeting_frame_unknown
-- table: targeting
-- column: frame
-- severity: hold
-- message: The coordinate frame is not in the frame register of site.toml.
-- hint: Register it there as [frames.CODE], or leave frame empty.
SELECT row_no
FROM checked_targeting
WHERE frame IS NOT NULL AND frame NOT IN (SELECT code FROM site_frame)
