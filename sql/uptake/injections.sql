-- uptake: injections
-- title: Injections of tracer, each once however many targets were reached with it
-- grain: one row per patient, day, tracer and time of injection
-- note: Whoever was injected received the dose, whatever became of the procedure. A row without a time is
--     taken for the earliest injection of that tracer on that day, so that an empty cell adds no dose.
WITH injected AS (
    SELECT
        f.procedure_id,
        f.patient_no,
        f.started_on,
        f.uptake_minutes,
        p.tracer,
        p.activity_mbq,
        epoch_us(p.injected_at) - CAST(60000000 AS BIGINT) * coalesce(p.injected_at_offset_min, 0) AS injected_us
    FROM procedure_facts AS f
    JOIN main.procedures AS p ON p.procedure_id = f.procedure_id
    WHERE p.tracer IS NOT NULL
        AND f.started_on BETWEEN CAST($start AS DATE) AND CAST($end AS DATE)
),

timed AS (
    SELECT
        *,
        coalesce(injected_us, min(injected_us) OVER (PARTITION BY patient_no, started_on, tracer)) AS moment_us
    FROM injected
)

SELECT
    patient_no,
    started_on,
    tracer,
    list(procedure_id ORDER BY procedure_id) AS procedures,
    max(activity_mbq) AS activity_mbq,
    count(DISTINCT activity_mbq) AS activities,
    min(uptake_minutes) AS uptake_minutes
FROM timed
GROUP BY patient_no, started_on, tracer, moment_us
ORDER BY started_on, procedures
