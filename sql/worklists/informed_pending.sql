-- worklist: informed_pending
-- title: Not yet told
-- question: After which conclusive joint decisions is it not recorded that the patient was told?
-- who: the coordinator
-- order: malignant results first, then discordant decisions, then the rest; within each, the longest wait first
-- columns: reason, procedure_id, site, started_on, finding_id, diagnosis, reviewed_on, determination,
--     management, responsible, days_waiting
-- narrow: reason, procedure_id, site, diagnosis, reviewed_on, management, days_waiting
-- note: What counts is the latest joint review, if it is concordant or discordant; an indeterminate one is
--     still being worked on. A patient who died is not listed.
WITH ranked_review AS (
    SELECT
        *,
        row_number() OVER (PARTITION BY procedure_id ORDER BY reviewed_on DESC, review_id DESC) AS place_from_last
    FROM main.reviews
    WHERE stage = 'joint' AND reviewed_on <= $as_of
)

SELECT
    CASE
        WHEN f.is_malignant THEN 'malignant result, not recorded as told'
        WHEN r.determination = 'discordant' THEN 'discordant decision, not recorded as told'
        ELSE 'not recorded as told'
    END AS reason,
    f.procedure_id,
    f.site,
    f.started_on,
    f.finding_id,
    f.diagnosis,
    r.reviewed_on,
    r.determination,
    r.management,
    r.responsible,
    date_diff('day', r.reviewed_on, $as_of) AS days_waiting
FROM ranked_review AS r
JOIN procedure_facts AS f ON f.procedure_id = r.procedure_id
WHERE r.place_from_last = 1
    AND r.determination IN ('concordant', 'discordant')
    AND (r.informed_on IS NULL OR r.informed_on > $as_of)
    AND f.died_on IS NULL
ORDER BY
    CASE WHEN f.is_malignant THEN 1 WHEN r.determination = 'discordant' THEN 2 ELSE 3 END,
    days_waiting DESC,
    f.procedure_id
