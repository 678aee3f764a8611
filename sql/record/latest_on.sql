-- record: latest_on
-- title: The latest day on which anything clinical is dated
-- grain: one row
SELECT latest_on FROM facts_state
