-- measure: cancer_after_benign
-- kind: time_to_event
-- title: Cancer after a benign result, over time
-- question: How soon, and how often, did cancer come to light after a benign result?
-- group: follow_up
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: later cancer as the first event; on a tie with death the cancer counts
-- denominator: first sampled procedures with a benign result (normal or benign)
-- exclusions: not sampled (status not completed); repeat procedure (tissue was taken earlier in its chain of
--     repeats); no pathology report (no current report: none, preliminary ones only, or retracted); not a
--     benign result (diagnosis neither normal nor benign)
-- window: read at 365, 730 and 1095 days
-- interval: log(-log)
-- source: Aalen and Johansen 1978, Scand J Stat 5:141-150
-- note: Death is a competing event. What is unknown is shown by two estimates that are no bounds. The
--     estimate lost leaves a procedure out after its clear-until day (on day 0 where nothing is known; never
--     before the day up to which linkage is complete, where site.toml states one); a death after that day is
--     not counted. The estimate free follows everybody to the as-of date. Later cancer is a malignant
--     diagnosis (in_situ, invasive, other_malignant) found on any procedure of the chain: by a sampled repeat
--     that started later and has a current report (dated by its start), by registry linkage from the day
--     after the procedure, or by an excision from the day itself. An excision or linkage stated to be from
--     another site counts nowhere; where the site is not stated, it counts. Clear until is the latest day of
--     an imaging event in the chain that was resolved, decreased or stable and can show the target, of an
--     excision with a normal, benign or high-risk diagnosis, or of a linkage without a malignant one. Imaging
--     by another modality than tracer or MRI does not clear a target without a correlate elsewhere.
-- caution: lost is usually too high, because women come back when something is found; free is too low,
--     because what was not looked for was not found.
WITH unit AS (
    SELECT
        procedure_id,
        started_on,
        CASE
            WHEN NOT is_sampled THEN 'not sampled'
            WHEN NOT is_index THEN 'repeat procedure'
            WHEN NOT is_reported THEN 'no pathology report'
            WHEN NOT is_benign_result THEN 'not a benign result'
        END AS excluded_because,
        date_diff('day', started_on, later_cancer_on) AS cancer_day,
        -- greatest passes over an empty argument: without the day there is no death.
        CASE WHEN died_on IS NOT NULL THEN greatest(date_diff('day', started_on, died_on), 0) END AS death_day,
        greatest(
            0,
            date_diff('day', started_on, clear_until),
            date_diff(
                'day',
                started_on,
                (
                    SELECT least(day, CAST($as_of AS DATE))
                    FROM site_setting
                    WHERE name = 'linkage_complete_until' AND day IS NOT NULL
                )
            )
        ) AS known_day,
        date_diff('day', started_on, CAST($as_of AS DATE)) AS last_day
    FROM procedure_facts
    WHERE started_on <= CAST($as_of AS DATE)
)

SELECT
    procedure_id,
    started_on AS index_date,
    excluded_because,
    CASE
        WHEN cancer_day <= coalesce(death_day, cancer_day) THEN cancer_day
        WHEN death_day <= known_day THEN death_day
        ELSE known_day
    END AS lost_days,
    CASE
        WHEN cancer_day <= coalesce(death_day, cancer_day) THEN 1
        WHEN death_day <= known_day THEN 2
        ELSE 0
    END AS lost_status,
    CASE
        WHEN cancer_day <= coalesce(death_day, cancer_day) THEN cancer_day
        ELSE coalesce(death_day, last_day)
    END AS free_days,
    CASE
        WHEN cancer_day <= coalesce(death_day, cancer_day) THEN 1
        WHEN death_day IS NOT NULL THEN 2
        ELSE 0
    END AS free_status
FROM unit
