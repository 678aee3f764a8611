-- quality: b_category_review
-- title: B categories that what came afterwards speaks against
-- grain: one row per procedure of the B-category table that is to be looked at again; parameters as_of, start,
--     end (day of the procedure, both days included)
-- order: what it is, then day of the procedure and key
-- note: Category and outcome are those of the table itself. A malignant biopsy whose
--     excision showed no cancer stands here whether or not it was adjudicated; one adjudicated target_removed,
--     therapy_response or site_missed counts as cancer in the table. A B1 or B2 followed by cancer within 365
--     days stands here until somebody has looked whether it could have been caught.
WITH excision AS (
    SELECT
        f.procedure_id,
        min(e.happened_on) AS excised_on,
        arg_max(e.diagnosis, d.rank) AS excision_diagnosis,
        max(d.rank) AS worst,
        string_agg(DISTINCT e.adjudication, '; ' ORDER BY e.adjudication) AS adjudication
    FROM procedure_facts AS f
    JOIN main.procedures AS p ON p.root_id = f.root_id
    JOIN main.followup AS e ON e.procedure_id = p.procedure_id
    LEFT JOIN code_rank AS d ON d.list = 'diagnosis' AND d.code = e.diagnosis
    WHERE e.kind = 'excision'
        AND e.same_site IS DISTINCT FROM 'no'
        AND e.happened_on <= CAST($as_of AS DATE)
        AND date_diff('day', f.started_on, e.happened_on) BETWEEN 0 AND 365
    GROUP BY f.procedure_id
),

listed AS (
    SELECT
        CASE
            WHEN c.b_category = 'B5'
                AND x.procedure_id IS NOT NULL
                AND coalesce(date_diff('day', f.started_on, f.later_cancer_on) > 365, TRUE)
                THEN 'B5, excision without cancer'
            WHEN c.b_category IN ('B1', 'B2') AND c.outcome = 'm' THEN c.b_category || ', cancer afterwards'
        END AS why,
        f.procedure_id,
        f.site,
        f.started_on,
        f.assessment,
        f.diagnosis,
        c.b_category,
        x.excised_on,
        x.excision_diagnosis,
        CASE WHEN c.b_category = 'B5' THEN coalesce(x.adjudication, 'not adjudicated') END AS adjudication,
        f.later_cancer_on,
        date_diff('day', f.started_on, f.later_cancer_on) AS days_to_cancer,
        f.first_conclusive
    FROM classified AS c
    JOIN procedure_facts AS f ON f.procedure_id = c.procedure_id
    LEFT JOIN excision AS x ON x.procedure_id = f.procedure_id
    WHERE c.excluded_because IS NULL AND f.started_on BETWEEN $start AND $end
)

SELECT *
FROM listed
WHERE why IS NOT NULL
ORDER BY why, started_on, procedure_id
