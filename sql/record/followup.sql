-- record: followup
-- title: What happened afterwards, on any procedure of the chain
-- grain: one row per event, in the order of their dates
SELECT e.* EXCLUDE (author, batch_id)
FROM main.procedures AS p
JOIN main.procedures AS o ON o.root_id = p.root_id
JOIN main.followup AS e ON e.procedure_id = o.procedure_id
WHERE p.procedure_id = $procedure_id
ORDER BY e.happened_on, e.event_id
