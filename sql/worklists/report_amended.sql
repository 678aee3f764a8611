-- worklist: report_amended
-- title: Report amended after the decision
-- question: Which reports changed after a joint review, what was said before and now, and was it decided again?
-- who: whoever chairs the concordance meeting, and the coordinator who tells the patient
-- order: not decided again first; within each, the newest change first
-- columns: reason, procedure_id, site, started_on, report_id, version_before, version_now, amended_on, changed,
--     diagnosis_before, diagnosis_now, first_review_on, decided_again_on, told_again_on
-- narrow: reason, procedure_id, site, amended_on, changed, first_review_on, decided_again_on
-- note: Listed are current versions that are not the first, issued after the first joint review and of another diagnosis,
--     lesion, B category, atypia, calcifications or further lesions than the version that review could see; a
--     retracted report among them. Receptors alone change nothing here. Decided again is the first conclusive
--     joint review on or after the day of the change, told again the first day on or after it on which a review
--     says that the patient was told.
WITH joint AS (
    SELECT procedure_id, min(reviewed_on) AS first_review_on
    FROM main.reviews
    WHERE stage = 'joint' AND reviewed_on <= $as_of
    GROUP BY procedure_id
),

issued AS (
    SELECT * EXCLUDE (recorded_at, author, batch_id) FROM main.pathology
    WHERE status <> 'preliminary' AND reported_on <= $as_of
    UNION ALL
    SELECT * EXCLUDE (recorded_at, author, batch_id, superseded_at, superseded_by, superseded_reason) FROM history.pathology
    WHERE status <> 'preliminary' AND reported_on <= $as_of
),

-- A corrected row of one version stands in history too; of each version the current row counts.
version_of AS (
    SELECT i.*, coalesce(i.specimen_id, '') AS container
    FROM issued AS i
    QUALIFY row_number() OVER (
        PARTITION BY i.report_id, i.procedure_id, i.specimen_id, i.version ORDER BY i.reported_on DESC
    ) = 1
),

current_version AS (
    SELECT *
    FROM version_of
    QUALIFY version = max(version) OVER (PARTITION BY report_id, procedure_id, container)
),

reviewed_version AS (
    SELECT v.*, j.first_review_on
    FROM version_of AS v
    JOIN joint AS j ON j.procedure_id = v.procedure_id
    WHERE v.reported_on <= j.first_review_on
    QUALIFY v.version = max(v.version) OVER (PARTITION BY v.report_id, v.procedure_id, v.container)
),

amended AS (
    SELECT
        c.procedure_id,
        c.report_id,
        b.version AS version_before,
        c.version AS version_now,
        c.reported_on AS amended_on,
        b.first_review_on,
        b.diagnosis AS diagnosis_before,
        CASE WHEN c.status = 'retracted' THEN 'retracted' ELSE c.diagnosis END AS diagnosis_now,
        CASE
            WHEN c.status = 'retracted' THEN 'report retracted'
            -- codes in words
            ELSE replace(concat_ws(
                '; ',
                CASE WHEN c.diagnosis <> b.diagnosis THEN 'diagnosis ' || b.diagnosis || ' to ' || c.diagnosis END,
                CASE WHEN c.b_category IS DISTINCT FROM b.b_category
                    THEN 'B category ' || coalesce(b.b_category, 'none') || ' to ' || coalesce(c.b_category, 'none') END,
                CASE WHEN c.lesion IS DISTINCT FROM b.lesion
                    THEN 'lesion ' || coalesce(b.lesion, 'none') || ' to ' || coalesce(c.lesion, 'none') END,
                CASE WHEN c.other_lesions IS DISTINCT FROM b.other_lesions THEN 'further lesions' END,
                CASE WHEN c.atypia IS DISTINCT FROM b.atypia
                    THEN 'atypia ' || coalesce(b.atypia, 'none') || ' to ' || coalesce(c.atypia, 'none') END,
                CASE WHEN c.calcifications IS DISTINCT FROM b.calcifications
                    THEN 'calcifications ' || coalesce(b.calcifications, 'none') || ' to ' || coalesce(c.calcifications, 'none') END
            ), '_', ' ')
        END AS changed
    FROM current_version AS c
    JOIN reviewed_version AS b
        ON b.report_id = c.report_id AND b.procedure_id = c.procedure_id AND b.container = c.container
        AND b.version < c.version
    WHERE c.reported_on > b.first_review_on
),

after AS (
    SELECT
        a.procedure_id,
        a.report_id,
        a.version_now,
        min(r.reviewed_on) FILTER (
            WHERE r.reviewed_on >= a.amended_on AND r.determination IN ('concordant', 'discordant')
        ) AS decided_again_on,
        min(r.informed_on) FILTER (WHERE r.informed_on >= a.amended_on AND r.informed_on <= $as_of) AS told_again_on
    FROM amended AS a
    LEFT JOIN main.reviews AS r ON r.procedure_id = a.procedure_id AND r.stage = 'joint' AND r.reviewed_on <= $as_of
    GROUP BY a.procedure_id, a.report_id, a.version_now
)

SELECT
    CASE
        WHEN w.decided_again_on IS NULL THEN 'not decided again'
        WHEN w.told_again_on IS NULL THEN 'decided again, patient not recorded as told'
        ELSE 'decided again and told'
    END AS reason,
    a.procedure_id,
    f.site,
    f.started_on,
    a.report_id,
    a.version_before,
    a.version_now,
    a.amended_on,
    a.changed,
    a.diagnosis_before,
    a.diagnosis_now,
    a.first_review_on,
    w.decided_again_on,
    w.told_again_on
FROM amended AS a
JOIN procedure_facts AS f ON f.procedure_id = a.procedure_id
JOIN after AS w ON w.procedure_id = a.procedure_id AND w.report_id = a.report_id AND w.version_now = a.version_now
WHERE a.changed <> ''
ORDER BY w.decided_again_on IS NOT NULL, a.amended_on DESC, a.procedure_id, a.report_id
