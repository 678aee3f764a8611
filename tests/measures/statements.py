"""A statement of the form in which a measure is counted with the others in one scan."""

PLAIN = """
SELECT procedure_id, started_on AS index_date,
    CASE WHEN NOT is_sampled THEN 'not sampled' WHEN site = 'B' THEN 'site b' END AS excluded_because,
    is_index AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
"""
