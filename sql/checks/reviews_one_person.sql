-- check: reviews_one_person
-- table: reviews
-- column: pathologist
-- severity: hold
-- message: pathologist is the radiologist.
-- hint: Two different people make a joint review.
SELECT row_no
FROM checked_reviews
WHERE pathologist = radiologist
