-- flow: standing
-- grain: one row per procedure
-- title: Whether a procedure meets the reference standard of a cohort, and if not, why
-- note: Parameters: as_of; standard (none, excision, follow_up, excision_or_follow_up); days, the minimum
--     follow-up in days or empty. Where days are given, a procedure that started later than so many days
--     before the as-of day is not yet due, whatever is known of it: else cancers would be counted early and
--     benign results late. Excision counts with a diagnosis, as procedure_facts has it (in the chain, within
--     365 days). Where follow-up is allowed, cancer at biopsy, cancer found later, and a target shown clear
--     for at least so many days meet the standard (decision 0032).
WITH unit AS (
    SELECT
        f.procedure_id,
        -- Which of two procedures came first is asked of the moment, not of the local clock.
        epoch_us(p.started_at) - CAST(60000000 AS BIGINT) * coalesce(p.started_at_offset_min, 0) AS started_us,
        coalesce(date_diff('day', f.started_on, CAST($as_of AS DATE)) < CAST($days AS INTEGER), FALSE) AS is_early,
        f.first_excision_on IS NOT NULL AS is_excised,
        f.excision_diagnosis IS NOT NULL AS has_diagnosis,
        coalesce(f.is_malignant, FALSE) OR f.later_cancer_on IS NOT NULL AS has_cancer,
        coalesce(date_diff('day', f.started_on, f.clear_until) >= CAST($days AS INTEGER), FALSE) AS is_clear,
        f.clear_until > f.started_on AS is_followed,
        f.died_on IS NOT NULL AS has_died
    FROM procedure_facts AS f
    JOIN main.procedures AS p ON p.procedure_id = f.procedure_id
)

SELECT
    procedure_id,
    started_us,
    CASE
        WHEN is_early THEN 'not_yet_due'
        WHEN $standard = 'none' THEN 'met'
        WHEN $standard <> 'follow_up' AND is_excised AND has_diagnosis THEN 'met'
        WHEN $standard <> 'excision' AND (has_cancer OR is_clear) THEN 'met'
        WHEN is_excised AND NOT has_diagnosis THEN 'indeterminate'
        WHEN $standard = 'follow_up' AND is_excised THEN 'excised'
        WHEN has_died THEN 'died'
        WHEN $standard <> 'excision' AND coalesce(is_followed, FALSE) THEN 'lost'
        ELSE 'missing'
    END AS standing
FROM unit
