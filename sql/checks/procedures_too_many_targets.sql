-- check: procedures_too_many_targets
-- table: procedures
-- column: finding_id
-- severity: review
-- message: More targets were sampled in one visit than the site expects.
-- hint: Confirm, or correct the dates.
WITH visits AS (
    SELECT patient, started_on
    FROM known_visits
    GROUP BY patient, started_on
    HAVING count(*) > (SELECT number FROM site_setting WHERE name = 'targets_per_visit_max')
)

SELECT p.row_no
FROM checked_visits AS p
JOIN visits ON visits.patient = p.patient AND visits.started_on = p.started_on
