-- check: reviews_pathologist_missing
-- table: reviews
-- column: pathologist
-- severity: hold
-- message: A joint review needs a pathologist.
-- hint: Name the pathologist, or make it provisional.
SELECT row_no
FROM checked_reviews
WHERE stage = 'joint' AND pathologist IS NULL
