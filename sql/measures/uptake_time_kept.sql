-- measure: uptake_time_kept
-- kind: proportion
-- title: Uptake time kept
-- question: How often did imaging begin within the uptake window of the tracer?
-- group: timeliness
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: injection to the first breast scan of the day, or to the start of the procedure where that is
--     empty, within the window: 45 to 90 minutes for F-18 FDG (local default)
-- denominator: sampled procedures with a tracer that has a window, and its injection time
-- exclusions: not sampled (status not completed); no tracer given (tracer empty); no window for this tracer
--     (site.toml states none, as shipped it has one for F-18 FDG only); injection time not recorded (empty)
-- window: the minutes that site.toml states for the tracer, both ends included
-- interval: wilson
-- direction: higher
-- source: local default; published uptake times for F-18 FDG differ
SELECT
    f.procedure_id,
    f.started_on AS index_date,
    CASE
        WHEN NOT f.is_sampled THEN 'not sampled'
        WHEN f.tracer IS NULL THEN 'no tracer given'
        WHEN w.tracer IS NULL THEN 'no window for this tracer'
        WHEN f.uptake_minutes IS NULL THEN 'injection time not recorded'
    END AS excluded_because,
    coalesce(f.uptake_minutes BETWEEN w.from_minutes - 1e-9 AND w.to_minutes + 1e-9, FALSE) AS in_numerator
FROM procedure_facts AS f
LEFT JOIN uptake_window AS w ON w.tracer = f.tracer
WHERE f.started_on <= CAST($as_of AS DATE)
