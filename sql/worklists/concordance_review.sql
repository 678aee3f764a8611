-- worklist: concordance_review
-- title: Concordance review
-- question: Which results must radiologist and pathologist look at together, and why?
-- who: whoever prepares and chairs the concordance meeting
-- order: decisions that a changed report or finding opened again; a benign or insufficient result
--     in assessment category 4C or 5; a malignant, suspicious or high-risk result; an indeterminate
--     last review; a first report older than the local limit; the rest. Within each, the longest wait first.
-- columns: place, reason, procedure_id, site, started_on, finding_id, finding_type, assessment,
--     diagnosis, first_report_on, last_review_on, last_determination, changed, waiting_since,
--     days_waiting, days_overdue
-- narrow: reason, procedure_id, assessment, diagnosis, changed, waiting_since, days_waiting
-- note: Listed are sampled procedures with a current report whose joint reviews are none, not
--     conclusive, or indeterminate at the last; or whose basis changed after the latest joint review:
--     a later report version with another diagnosis, lesion, B category, atypia, calcifications or
--     further lesions, a report retracted, withdrawn or added, or another breast. What counts as later is
--     the day of the report against the day of the review, and the moment of recording against the
--     moment at which the decision was first recorded. Receptors alone open nothing.
WITH ranked_review AS (
    SELECT
        procedure_id,
        review_id,
        reviewed_on,
        determination,
        row_number() OVER (PARTITION BY procedure_id ORDER BY reviewed_on DESC, review_id DESC) AS place_from_last
    FROM main.reviews
    WHERE stage = 'joint' AND reviewed_on <= $as_of
),

latest_review AS (
    SELECT procedure_id, review_id, reviewed_on, determination
    FROM ranked_review
    WHERE place_from_last = 1
),

conclusive AS (
    SELECT DISTINCT procedure_id
    FROM ranked_review
    WHERE determination IN ('concordant', 'discordant')
),

-- A later entry in the same review (patient told, step booked) is not a new decision.
review_version AS (
    SELECT review_id, reviewed_on, stage, determination, recorded_at FROM main.reviews
    UNION ALL
    SELECT review_id, reviewed_on, stage, determination, recorded_at FROM history.reviews
),

decided AS (
    SELECT l.procedure_id, l.reviewed_on, min(v.recorded_at) AS decided_at
    FROM latest_review AS l
    JOIN review_version AS v
        ON v.review_id = l.review_id AND v.reviewed_on = l.reviewed_on
        AND v.determination = l.determination AND v.stage = 'joint'
    WHERE l.procedure_id IN (SELECT procedure_id FROM conclusive)
    GROUP BY l.procedure_id, l.reviewed_on
),

report_version AS (
    SELECT
        report_id, procedure_id, coalesce(specimen_id, '') AS container, version, status, reported_on,
        diagnosis, lesion, b_category, atypia, calcifications, other_lesions,
        recorded_at, CAST(NULL AS TIMESTAMP) AS superseded_at
    FROM main.pathology
    WHERE status <> 'preliminary'
    UNION ALL
    SELECT
        report_id, procedure_id, coalesce(specimen_id, '') AS container, version, status, reported_on,
        diagnosis, lesion, b_category, atypia, calcifications, other_lesions,
        recorded_at, superseded_at
    FROM history.pathology
    WHERE status <> 'preliminary'
),

known_then AS (
    SELECT
        r.*,
        row_number() OVER (PARTITION BY r.report_id, r.procedure_id, r.container ORDER BY r.version DESC) AS place_from_last
    FROM report_version AS r
    JOIN decided AS d ON d.procedure_id = r.procedure_id
    WHERE r.reported_on <= d.reviewed_on
        AND r.recorded_at <= d.decided_at
        AND (r.superseded_at IS NULL OR r.superseded_at > d.decided_at)
),

basis AS (
    SELECT * FROM known_then WHERE place_from_last = 1 AND status <> 'retracted'
),

standing AS (
    SELECT
        r.*,
        d.reviewed_on,
        d.decided_at,
        row_number() OVER (PARTITION BY r.report_id, r.procedure_id, r.container ORDER BY r.version DESC) AS place_from_last
    FROM report_version AS r
    JOIN decided AS d ON d.procedure_id = r.procedure_id
    WHERE r.superseded_at IS NULL AND r.reported_on <= $as_of
),

changed_report AS (
    SELECT
        s.procedure_id,
        CASE
            WHEN b.report_id IS NULL THEN 'report added'
            WHEN s.status = 'retracted' THEN 'report retracted'
            ELSE concat_ws(
                ', ',
                CASE WHEN s.diagnosis <> b.diagnosis
                    THEN replace('diagnosis ' || b.diagnosis || ' to ' || s.diagnosis, '_', ' ') END,
                CASE WHEN s.b_category IS DISTINCT FROM b.b_category
                    THEN 'B category ' || coalesce(b.b_category, 'none') || ' to ' || coalesce(s.b_category, 'none') END,
                CASE WHEN s.lesion IS DISTINCT FROM b.lesion THEN 'lesion' END,
                CASE WHEN s.other_lesions IS DISTINCT FROM b.other_lesions THEN 'further lesions' END,
                CASE WHEN s.atypia IS DISTINCT FROM b.atypia THEN 'atypia' END,
                CASE WHEN s.calcifications IS DISTINCT FROM b.calcifications THEN 'calcifications' END
            )
        END AS what,
        CASE WHEN s.reported_on > s.reviewed_on THEN s.reported_on ELSE CAST(s.recorded_at AS DATE) END AS changed_on
    FROM standing AS s
    LEFT JOIN basis AS b
        ON b.report_id = s.report_id AND b.procedure_id = s.procedure_id AND b.container = s.container
    WHERE (s.reported_on > s.reviewed_on OR s.recorded_at > s.decided_at)
        AND (b.report_id IS NOT NULL OR (s.place_from_last = 1 AND s.status <> 'retracted'))
        AND (b.report_id IS NULL OR s.version >= b.version)
),

withdrawn_report AS (
    SELECT b.procedure_id, 'report withdrawn' AS what, CAST(max(h.superseded_at) AS DATE) AS changed_on
    FROM basis AS b
    JOIN report_version AS h
        ON h.report_id = b.report_id AND h.procedure_id = b.procedure_id AND h.container = b.container
    WHERE NOT EXISTS (
        SELECT 1 FROM main.pathology AS m
        WHERE m.report_id = b.report_id AND m.procedure_id = b.procedure_id
            AND coalesce(m.specimen_id, '') = b.container AND m.status <> 'preliminary'
    )
    GROUP BY b.report_id, b.procedure_id, b.container
),

changed_side AS (
    SELECT d.procedure_id, 'breast' AS what, CAST(max(h.superseded_at) AS DATE) AS changed_on
    FROM decided AS d
    JOIN main.procedures AS p ON p.procedure_id = d.procedure_id
    JOIN main.findings AS f ON f.finding_id = p.finding_id
    JOIN history.findings AS h ON h.finding_id = p.finding_id
    WHERE h.recorded_at <= d.decided_at AND h.superseded_at > d.decided_at AND h.laterality <> f.laterality
    GROUP BY d.procedure_id
),

change AS (
    SELECT procedure_id, what, changed_on FROM changed_report WHERE what <> ''
    UNION ALL
    SELECT procedure_id, what, changed_on FROM withdrawn_report
    UNION ALL
    SELECT procedure_id, what, changed_on FROM changed_side
),

opened_again AS (
    SELECT procedure_id, string_agg(what, '; ' ORDER BY changed_on, what) AS changed, min(changed_on) AS changed_on
    FROM change
    GROUP BY procedure_id
),

waiting AS (
    SELECT
        f.procedure_id,
        f.site,
        f.started_on,
        f.finding_id,
        f.finding_type,
        f.assessment,
        f.diagnosis,
        f.first_report_on,
        l.reviewed_on AS last_review_on,
        l.determination AS last_determination,
        o.changed,
        CASE
            WHEN o.procedure_id IS NOT NULL THEN o.changed_on
            WHEN l.determination = 'indeterminate' THEN l.reviewed_on
            ELSE f.first_report_on
        END AS waiting_since,
        (SELECT number FROM site_setting WHERE name = 'review_due_days') AS due_days
    FROM procedure_facts AS f
    LEFT JOIN latest_review AS l ON l.procedure_id = f.procedure_id
    LEFT JOIN conclusive AS c ON c.procedure_id = f.procedure_id
    LEFT JOIN opened_again AS o ON o.procedure_id = f.procedure_id
    WHERE f.is_sampled AND (f.is_reported OR o.procedure_id IS NOT NULL)
        AND (c.procedure_id IS NULL OR l.determination = 'indeterminate' OR o.procedure_id IS NOT NULL)
),

counted AS (
    SELECT
        *,
        greatest(date_diff('day', waiting_since, $as_of), 0) AS days_waiting
    FROM waiting
),

placed AS (
    SELECT
        *,
        CAST(greatest(days_waiting - due_days, 0) AS INTEGER) AS days_overdue,
        CASE
            WHEN changed IS NOT NULL THEN 1
            WHEN diagnosis IN ('insufficient', 'normal', 'benign') AND assessment IN ('4C', '5') THEN 2
            WHEN diagnosis IN ('in_situ', 'invasive', 'other_malignant', 'suspicious', 'high_risk') THEN 3
            WHEN last_determination = 'indeterminate' THEN 4
            WHEN days_waiting > due_days THEN 5
            ELSE 6
        END AS place
    FROM counted
)

SELECT
    place,
    CASE place
        WHEN 1 THEN 'changed since it was decided'
        WHEN 2 THEN 'benign or insufficient result in category ' || assessment
        WHEN 3 THEN 'malignant, suspicious or high-risk result'
        WHEN 4 THEN 'indeterminate at the last review'
        WHEN 5 THEN 'reported ' || days_waiting || ' days ago'
        ELSE 'reported, within the local limit'
    END AS reason,
    procedure_id,
    site,
    started_on,
    finding_id,
    finding_type,
    assessment,
    diagnosis,
    first_report_on,
    last_review_on,
    last_determination,
    changed,
    waiting_since,
    days_waiting,
    days_overdue
FROM placed
ORDER BY place, days_waiting DESC, procedure_id
