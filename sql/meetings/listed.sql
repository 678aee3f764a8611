-- meetings: listed
-- title: Meetings, the latest first
-- grain: one row per meeting; decided counts joint reviews that name it, minutes its signed minutes and amendments
SELECT
    m.meeting_id,
    m.held_on,
    m.site,
    m.chair,
    m.attendees,
    m.closed_at,
    (SELECT count(*) FROM main.reviews AS r WHERE r.meeting_id = m.meeting_id AND r.stage = 'joint') AS decided,
    (SELECT count(*) FROM signed_minutes AS s WHERE s.meeting_id = m.meeting_id) AS minutes
FROM main.meetings AS m
ORDER BY m.held_on DESC, m.meeting_id
