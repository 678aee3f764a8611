-- A patient whose rows must stay as they are while a claim or an inquiry is open.
CREATE TABLE legal_hold (
    patient VARCHAR NOT NULL,
    set_at TIMESTAMP NOT NULL,
    set_by VARCHAR NOT NULL,
    reason VARCHAR NOT NULL,
    lifted_at TIMESTAMP,
    lifted_by VARCHAR,
    lift_reason VARCHAR
);
COMMENT ON TABLE legal_hold IS 'Legal holds: while one is open nothing of the patient is withdrawn or erased and no received file is removed';
COMMENT ON COLUMN legal_hold.patient IS 'Keyed pseudonym of the patient';
COMMENT ON COLUMN legal_hold.set_at IS 'Set (UTC)';
COMMENT ON COLUMN legal_hold.set_by IS 'Who set it';
COMMENT ON COLUMN legal_hold.reason IS 'Why it was set; names no person';
COMMENT ON COLUMN legal_hold.lifted_at IS 'Lifted (UTC); empty while the hold is open';
COMMENT ON COLUMN legal_hold.lifted_by IS 'Who lifted it';
COMMENT ON COLUMN legal_hold.lift_reason IS 'Why it was lifted; names no person';
