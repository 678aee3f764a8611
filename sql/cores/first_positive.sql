-- cores: first_positive
-- title: Among which cores the first malignant diagnosis lies
-- grain: one row per procedure that had started
-- exclusions: not sampled (status not completed); repeat procedure (tissue was taken earlier in its chain of
--     repeats); report window not complete (started fewer than 30 days before the as-of date, reported or
--     not); no pathology report (no current report: none, preliminary ones only, or retracted); no specimen
--     (no container was recorded); cores not recorded (the number of cores of a container is empty or 0);
--     cores not kept apart (one container with several cores); order not recorded (a container without its
--     order, or two with the same); containers not reported apart (a container without a current report of its
--     own)
-- note: A container is positive when the worst of its own current reports is in_situ, invasive or
--     other_malignant; a procedure with one container takes its worst current report. Which core of a
--     container was positive is not known: the first positive core lies after the cores taken before it and
--     up to its own last. A malignant diagnosis that stands only in a report on the whole procedure may lie
--     in any core. Whether the containers are reported apart is asked whatever the diagnosis, so that no
--     exclusion reads the outcome. Where the cores cannot be put in order, the mass of all containers stands
--     for them, if each was weighed.
WITH own_report AS (
    SELECT procedure_id, container, max(diagnosis_rank) AS diagnosis_rank
    FROM current_report_facts
    WHERE status <> 'retracted' AND container <> ''
    GROUP BY procedure_id, container
),

container AS (
    SELECT
        s.procedure_id,
        s.taken_order,
        s.cores,
        r.container IS NOT NULL AS is_reported,
        coalesce(d.code IN ('in_situ', 'invasive', 'other_malignant'), FALSE) AS is_positive,
        sum(s.cores) OVER (PARTITION BY s.procedure_id ORDER BY s.taken_order) AS cores_in_hand
    FROM scope_specimens AS s
    LEFT JOIN own_report AS r ON r.procedure_id = s.procedure_id AND r.container = s.specimen_id
    LEFT JOIN code_rank AS d ON d.list = 'diagnosis' AND d.rank = r.diagnosis_rank
),

tissue AS (
    SELECT
        procedure_id,
        count(DISTINCT taken_order) = count(*) AS is_ordered,
        count(*) FILTER (WHERE cores > 0) = count(*) AS is_counted,
        bool_and(is_reported) AS is_reported_apart,
        sum(cores) AS cores,
        max(cores) = 1 AS is_one_by_one,
        min(cores_in_hand - cores) FILTER (WHERE is_positive) AS cores_before,
        min(cores_in_hand) FILTER (WHERE is_positive) AS cores_until,
        list(cores ORDER BY taken_order) AS container_cores,
        list(is_positive ORDER BY taken_order) AS container_positive
    FROM container
    GROUP BY procedure_id
),

judged AS (
    SELECT
        f.procedure_id,
        f.started_on,
        f.patient_no,
        f.is_malignant,
        f.tissue_mass_g,
        f.containers,
        t.cores,
        t.is_one_by_one,
        t.cores_before,
        t.cores_until,
        t.container_cores,
        t.container_positive,
        CASE
            WHEN NOT f.is_sampled THEN 'not sampled'
            WHEN NOT f.is_index THEN 'repeat procedure'
            WHEN date_diff('day', f.started_on, CAST($as_of AS DATE)) < 30 THEN 'report window not complete'
            WHEN NOT f.is_reported THEN 'no pathology report'
        END AS left_out_of_both,
        CASE
            WHEN f.containers = 0 THEN 'no specimen'
            WHEN NOT t.is_counted THEN 'cores not recorded'
            WHEN f.containers = 1 AND t.cores > 1 THEN 'cores not kept apart'
            WHEN f.containers > 1 AND NOT t.is_ordered THEN 'order not recorded'
            WHEN f.containers > 1 AND NOT t.is_reported_apart THEN 'containers not reported apart'
        END AS not_in_order
    FROM procedure_facts AS f
    LEFT JOIN tissue AS t ON t.procedure_id = f.procedure_id
    WHERE f.started_on <= CAST($as_of AS DATE)
)

SELECT
    procedure_id,
    started_on AS index_date,
    coalesce(left_out_of_both, not_in_order) AS excluded_because,
    is_malignant AS is_positive,
    CAST(cores AS BIGINT) AS cores,
    CAST(CASE WHEN is_malignant THEN coalesce(cores_before, 0) ELSE cores END AS BIGINT) AS cores_without,
    CAST(CASE WHEN is_malignant THEN coalesce(cores_until, cores) END AS BIGINT) AS cores_with,
    is_one_by_one,
    container_cores,
    CASE WHEN containers = 1 THEN [is_malignant] ELSE container_positive END AS container_positive,
    CASE
        WHEN left_out_of_both IS NOT NULL THEN left_out_of_both
        WHEN not_in_order IS NULL THEN 'cores in order'
        WHEN tissue_mass_g IS NULL THEN 'mass not recorded'
    END AS mass_excluded_because,
    tissue_mass_g AS mass_g,
    patient_no
FROM judged
