-- check: reviews_discordant_without_action
-- table: reviews
-- column: management
-- severity: hold
-- message: A discordant review recommends no action.
-- hint: Name the recommended step.
SELECT row_no
FROM checked_reviews
WHERE determination = 'discordant' AND management = 'none'
