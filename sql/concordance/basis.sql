-- concordance: basis
-- title: What a concordance decision rests on, as digests
-- grain: one row per procedure asked for
-- note: basis binds what decides: a change of it opens a signed decision again. seen binds every field that a
--     reviewer sees, the pathologist's words and the receptors among them: a change of it alone is said, and opens
--     nothing. Of the reports the current ones count.
WITH current_report AS (
    SELECT v.* EXCLUDE (recorded_at, author, batch_id)
    FROM main.pathology AS v
    WHERE v.procedure_id IN (SELECT unnest($ids)) AND v.status <> 'preliminary'
    QUALIFY v.version = max(v.version) OVER (PARTITION BY v.report_id, v.procedure_id, v.specimen_id)
        AND v.status <> 'retracted'
),

report_basis AS (
    SELECT
        procedure_id, report_id, specimen_id, diagnosis, lesion, other_lesions, b_category, atypia, calcifications,
        explains_finding
    FROM current_report
),

placement AS (
    SELECT * EXCLUDE (recorded_at, author, batch_id) FROM main.targeting WHERE procedure_id IN (SELECT unnest($ids))
),

placement_basis AS (
    SELECT * EXCLUDE (slice_mm, measurement_sd_mm, target_depth_mm, depth_datum, source_id) FROM placement
),

container AS (
    SELECT * EXCLUDE (recorded_at, author, batch_id) FROM main.specimens WHERE procedure_id IN (SELECT unnest($ids))
),

container_basis AS (
    SELECT procedure_id, specimen_id, cores, uptake_seen, calcifications_seen FROM container
),

part AS (
    SELECT procedure_id, 'report' AS kind, CAST(to_json(b) AS VARCHAR) AS said, TRUE AS decides FROM report_basis AS b
    UNION ALL
    SELECT procedure_id, 'report', CAST(to_json(r) AS VARCHAR), FALSE FROM current_report AS r
    UNION ALL
    SELECT procedure_id, 'placement', CAST(to_json(b) AS VARCHAR), TRUE FROM placement_basis AS b
    UNION ALL
    SELECT procedure_id, 'placement', CAST(to_json(t) AS VARCHAR), FALSE FROM placement AS t
    UNION ALL
    SELECT procedure_id, 'container', CAST(to_json(b) AS VARCHAR), TRUE FROM container_basis AS b
    UNION ALL
    SELECT procedure_id, 'container', CAST(to_json(s) AS VARCHAR), FALSE FROM container AS s
    UNION ALL
    SELECT b.procedure_id, 'procedure', CAST(to_json(b) AS VARCHAR), TRUE
    FROM (
        SELECT
            p.procedure_id, p.finding_id, p.status, p.status_reason, p.guidance, p.residual, p.marker,
            p.marker_reference, p.marker_shift_x_mm, p.marker_shift_y_mm, p.marker_shift_z_mm, f.laterality,
            f.finding_type, f.assessment, f.correlate, f.size_mm, f.other_cancer
        FROM main.procedures AS p
        JOIN main.findings AS f ON f.finding_id = p.finding_id
        WHERE p.procedure_id IN (SELECT unnest($ids))
    ) AS b
    UNION ALL
    SELECT q.procedure_id, 'procedure', CAST(to_json(q) AS VARCHAR), FALSE
    FROM (
        SELECT p.* EXCLUDE (recorded_at, author, batch_id, root_id)
        FROM main.procedures AS p
        WHERE p.procedure_id IN (SELECT unnest($ids))
    ) AS q
    UNION ALL
    SELECT g.procedure_id, 'finding', CAST(to_json(g) AS VARCHAR), FALSE
    FROM (
        SELECT p.procedure_id, f.* EXCLUDE (recorded_at, author, batch_id, patient)
        FROM main.procedures AS p
        JOIN main.findings AS f ON f.finding_id = p.finding_id
        WHERE p.procedure_id IN (SELECT unnest($ids))
    ) AS g
)

SELECT
    procedure_id,
    sha256(string_agg(kind || said, chr(10) ORDER BY kind, said) FILTER (WHERE decides)) AS basis,
    sha256(string_agg(kind || said, chr(10) ORDER BY kind, said) FILTER (WHERE NOT decides)) AS seen
FROM part
GROUP BY procedure_id
ORDER BY procedure_id
