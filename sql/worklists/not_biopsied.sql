-- worklist: not_biopsied
-- title: Suspicious and not biopsied
-- question: Which findings of assessment category 4 or 5 have no biopsy procedure, not even a cancelled one?
-- who: the coordinator
-- order: category 5 first, then 4C, 4B, 4A, 4; within each, the longest wait first
-- columns: reason, finding_id, found_on, biopsy_advised_on, laterality, modality, correlate, finding_type,
--     assessment, size_mm, days_waiting
-- narrow: reason, finding_id, found_on, biopsy_advised_on, modality, finding_type, assessment,
--     days_waiting
-- note: The wait runs from the day on which biopsy was advised, or from the examination where that day is
--     empty. Not listed: a procedure at the finding has started by the as-of date, whatever became of it
--     (those without tissue stand in cancelled_unresolved); the patient died. A biopsy elsewhere is not in
--     the record and does not end the wait: bring it in as a procedure of the other site.
SELECT
    CASE WHEN f.biopsy_advised_on <= $as_of THEN 'biopsy advised, none begun' ELSE 'no biopsy advised, none begun' END AS reason,
    f.finding_id,
    f.found_on,
    f.biopsy_advised_on,
    f.laterality,
    f.modality,
    f.correlate,
    f.finding_type,
    f.assessment,
    f.size_mm,
    date_diff('day', CASE WHEN f.biopsy_advised_on <= $as_of THEN f.biopsy_advised_on ELSE f.found_on END, $as_of) AS days_waiting
FROM main.findings AS f
JOIN main.patients AS t ON t.patient = f.patient
WHERE f.found_on <= $as_of
    AND f.assessment IN ('4', '4A', '4B', '4C', '5')
    AND (t.death_date IS NULL OR t.death_date > $as_of)
    AND NOT EXISTS (
        SELECT 1
        FROM main.procedures AS p
        WHERE p.finding_id = f.finding_id AND CAST(p.started_at AS DATE) <= $as_of
    )
    AND NOT EXISTS (
        SELECT 1
        FROM main.followup AS e
        JOIN main.procedures AS p ON p.procedure_id = e.procedure_id
        JOIN main.findings AS other ON other.finding_id = p.finding_id
        WHERE other.patient = f.patient AND e.kind = 'death' AND e.happened_on <= $as_of
    )
ORDER BY
    CASE f.assessment WHEN '5' THEN 1 WHEN '4C' THEN 2 WHEN '4B' THEN 3 WHEN '4A' THEN 4 ELSE 5 END,
    days_waiting DESC,
    f.finding_id
