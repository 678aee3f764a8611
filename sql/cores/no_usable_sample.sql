-- cores: no_usable_sample
-- title: Attempts that ended without tissue or with an insufficient sample, and what was known before them
-- grain: one row per procedure that had started
-- exclusions: cancelled (before needle entry); report window not complete (started fewer than 30 days before the
--     as-of date, reported or not); no pathology report (sampled, without a current report)
-- note: An abandoned attempt has no report to wait for and counts all the same.
SELECT
    f.procedure_id,
    f.started_on AS index_date,
    CASE
        WHEN f.status = 'cancelled' THEN 'cancelled'
        WHEN date_diff('day', f.started_on, CAST($as_of AS DATE)) < 30 THEN 'report window not complete'
        WHEN f.is_sampled AND NOT f.is_reported THEN 'no pathology report'
    END AS excluded_because,
    NOT f.is_sampled OR coalesce(f.diagnosis = 'insufficient', FALSE) AS is_unusable,
    i.size_mm,
    CAST(f.gauge AS DOUBLE) AS gauge,
    f.approach,
    f.guidance
FROM procedure_facts AS f
JOIN main.findings AS i ON i.finding_id = f.finding_id
WHERE f.started_on <= CAST($as_of AS DATE)
