-- Minutes of concordance meetings as they were signed: written once, never changed. An entry
-- stands in a row of its own, so that an erasure can empty it while the digest still holds.
CREATE TABLE signed_minutes (
    minutes_no INTEGER NOT NULL,
    meeting_id VARCHAR NOT NULL,
    signed_at TIMESTAMP NOT NULL,
    signed_by VARCHAR NOT NULL,
    amends INTEGER,
    reason VARCHAR,
    head_seq INTEGER NOT NULL,
    head_mac VARCHAR NOT NULL,
    opening VARCHAR NOT NULL,
    sha256 VARCHAR NOT NULL
);
COMMENT ON TABLE signed_minutes IS 'Signed minutes and their amendments; a later one stands beside an earlier one';
COMMENT ON COLUMN signed_minutes.minutes_no IS 'Running number';
COMMENT ON COLUMN signed_minutes.meeting_id IS 'Meeting';
COMMENT ON COLUMN signed_minutes.signed_at IS 'When (UTC)';
COMMENT ON COLUMN signed_minutes.signed_by IS 'Who signed';
COMMENT ON COLUMN signed_minutes.amends IS 'Number of the minutes that these amend; empty for the first of a meeting';
COMMENT ON COLUMN signed_minutes.reason IS 'Why they were amended; names no person';
COMMENT ON COLUMN signed_minutes.head_seq IS 'Newest entry of the trail when they were signed';
COMMENT ON COLUMN signed_minutes.head_mac IS 'Chain value of that entry';
COMMENT ON COLUMN signed_minutes.opening IS 'Meeting, attendance and state of the registry (JSON), without anything about a patient';
COMMENT ON COLUMN signed_minutes.sha256 IS 'SHA-256 over all of the above and the digests of the entries';

CREATE TABLE signed_minutes_entry (
    minutes_no INTEGER NOT NULL,
    place INTEGER NOT NULL,
    part VARCHAR NOT NULL,
    procedure_id VARCHAR NOT NULL,
    content VARCHAR NOT NULL,
    sha256 VARCHAR NOT NULL
);
COMMENT ON TABLE signed_minutes_entry IS 'What signed minutes say of one procedure';
COMMENT ON COLUMN signed_minutes_entry.minutes_no IS 'Minutes';
COMMENT ON COLUMN signed_minutes_entry.place IS 'Order within the minutes, from 1';
COMMENT ON COLUMN signed_minutes_entry.part IS 'decided, undecided or open';
COMMENT ON COLUMN signed_minutes_entry.procedure_id IS 'Procedure';
COMMENT ON COLUMN signed_minutes_entry.content IS 'The entry (JSON), notes of the discussion included; never exported; emptied when the patient is erased';
COMMENT ON COLUMN signed_minutes_entry.sha256 IS 'SHA-256 of the content as it was signed';
