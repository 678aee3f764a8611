-- quality: later_tissue
-- title: What tissue taken after a procedure showed
-- grain: one row per procedure after which tissue with a diagnosis, or a further needle biopsy, is recorded on
--     its chain; parameter as_of; read by other statements of this folder
-- order: none
-- note: By a sampled repeat that started later, or by an excision from the day of the procedure on that is not
--     stated to be from another site. The worst diagnosis counts; the first repeat is the earliest that started.
WITH moment AS (
    SELECT
        procedure_id,
        root_id,
        repeat_reason,
        device,
        status = 'completed' AS is_sampled,
        CAST(started_at AS DATE) AS started_on,
        epoch_us(started_at) - CAST(60000000 AS BIGINT) * coalesce(started_at_offset_min, 0) AS started_us
    FROM main.procedures
    WHERE CAST(started_at AS DATE) <= CAST($as_of AS DATE)
),

repeated AS (
    SELECT
        u.procedure_id,
        s.procedure_id AS repeat_id,
        s.repeat_reason,
        s.device,
        r.diagnosis,
        row_number() OVER (PARTITION BY u.procedure_id ORDER BY s.started_us, s.procedure_id) AS place
    FROM moment AS u
    JOIN moment AS s ON s.root_id = u.root_id AND s.is_sampled AND s.started_us > u.started_us
    JOIN procedure_facts AS r ON r.procedure_id = s.procedure_id
),

later_diagnosis AS (
    SELECT procedure_id, diagnosis FROM repeated
    UNION ALL
    SELECT u.procedure_id, e.diagnosis
    FROM moment AS u
    JOIN moment AS p ON p.root_id = u.root_id
    JOIN main.followup AS e ON e.procedure_id = p.procedure_id
    WHERE e.kind = 'excision'
        AND e.same_site IS DISTINCT FROM 'no'
        AND e.happened_on BETWEEN u.started_on AND CAST($as_of AS DATE)
),

worst AS (
    SELECT l.procedure_id, arg_max(l.diagnosis, d.rank) AS diagnosis
    FROM later_diagnosis AS l
    LEFT JOIN code_rank AS d ON d.list = 'diagnosis' AND d.code = l.diagnosis
    GROUP BY l.procedure_id
)

SELECT
    w.procedure_id,
    w.diagnosis,
    f.repeat_id,
    f.repeat_reason,
    f.device AS repeat_device
FROM worst AS w
LEFT JOIN repeated AS f ON f.procedure_id = w.procedure_id AND f.place = 1
