-- meetings: decisions
-- title: Joint reviews of one meeting
-- grain: one row per joint review that names the meeting, by its key
SELECT review_id, procedure_id, recorded_at
FROM main.reviews
WHERE meeting_id = $meeting_id AND stage = 'joint'
ORDER BY reviewed_on, review_id
