-- check: procedures_too_many_targets
-- table: procedures
-- column: finding_id
-- severity: review
-- message: More targets were sampled in one visit than the site expects.
-- hint: Confirm, or correct the dates.
WITH visits AS (
    SELECT f.patient, CAST(p.started_at AS DATE) AS day
    FROM known_procedures AS p
    JOIN known_findings AS f ON f.finding_id = p.finding_id
    GROUP BY f.patient, CAST(p.started_at AS DATE)
    HAVING count(*) > (SELECT number FROM site_setting WHERE name = 'targets_per_visit_max')
)

SELECT p.row_no
FROM checked_procedures AS p
JOIN known_findings AS f ON f.finding_id = p.finding_id
JOIN visits ON visits.patient = f.patient AND visits.day = CAST(p.started_at AS DATE)
