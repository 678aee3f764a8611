-- What was said to a signal of a running sum: one row per note, never changed.
CREATE TABLE signal_note (
    note_id INTEGER NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    measure VARCHAR NOT NULL,
    procedure_id VARCHAR NOT NULL,
    chart VARCHAR NOT NULL,
    stratum VARCHAR NOT NULL,
    design VARCHAR NOT NULL,
    answer VARCHAR NOT NULL,
    note VARCHAR NOT NULL
);
COMMENT ON TABLE signal_note IS 'Answers to signals of the monitoring charts; a later note stands beside an earlier one';
COMMENT ON COLUMN signal_note.note_id IS 'Running number';
COMMENT ON COLUMN signal_note.recorded_at IS 'When (UTC)';
COMMENT ON COLUMN signal_note.measure IS 'Measure that was watched';
COMMENT ON COLUMN signal_note.procedure_id IS 'Procedure at which the sum signalled';
COMMENT ON COLUMN signal_note.chart IS 'Kind of chart: cusum, risk_adjusted or ewma';
COMMENT ON COLUMN signal_note.stratum IS 'Which procedures were watched: all, or name=value';
COMMENT ON COLUMN signal_note.design IS 'Accepted figure, change looked for and limit, in words';
COMMENT ON COLUMN signal_note.answer IS 'chance, case_mix, record, practice, looking or other';
COMMENT ON COLUMN signal_note.note IS 'Free text; never exported';
