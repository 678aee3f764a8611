-- quality: completeness
-- title: Which fields are expected of each procedure
-- grain: one row per procedure of the period; parameters as_of, start, end
-- order: none
-- note: The expected fields are those that the record of a procedure names when they are missing. A field is
--     asked only of a record that is there; whether there is one is a line of its own: a targeting record with tracer and MRI
--     guidance, a specimen record with tissue, a report 30 days after the procedure, a joint review 14 days
--     after the first report.
SELECT
    p.procedure_id,
    p.finding_id,
    p.site,
    CAST(date_trunc('month', p.started_at) AS DATE) AS month,
    TRUE AS "always",
    f.is_sampled AS sampled,
    f.is_sampled AND coalesce(p.device = 'vacuum_assisted', FALSE) AS vacuum,
    f.is_sampled AND f.is_tracer_guided AS tracer_guided,
    f.is_sampled AND f.guidance IN ('pet_tracer', 'gamma_tracer', 'mri') AS scan_guided,
    p.tracer IS NOT NULL AS tracer,
    coalesce(p.marker = 'placed', FALSE) AS marker_placed,
    f.is_sampled AND date_diff('day', f.started_on, CAST($as_of AS DATE)) >= 30 AS report_due,
    f.is_sampled AND f.is_reported AND date_diff('day', f.first_report_on, CAST($as_of AS DATE)) >= 14 AS review_due,
    f.is_targeting_recorded AS has_targeting,
    f.containers > 0 AS has_specimens,
    f.is_reported AS has_pathology,
    f.first_joint_review_on IS NOT NULL AS has_review
FROM procedure_facts AS f
JOIN main.procedures AS p ON p.procedure_id = f.procedure_id
WHERE f.started_on BETWEEN $start AND $end
