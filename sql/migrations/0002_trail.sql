-- The trail: import batches, rows held back, the audit chain, the site's settings that
-- measures read, and the state of the kept facts.
CREATE TABLE import_batch (
    batch_id INTEGER NOT NULL,
    started_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    format VARCHAR NOT NULL,
    mapping_name VARCHAR,
    mapping_version VARCHAR,
    mapping_sha256 VARCHAR,
    files VARCHAR NOT NULL,
    program VARCHAR NOT NULL,
    received INTEGER NOT NULL,
    resubmitted INTEGER NOT NULL,
    accepted_new INTEGER NOT NULL,
    accepted_version INTEGER NOT NULL,
    unchanged INTEGER NOT NULL,
    held INTEGER NOT NULL,
    reason VARCHAR
);
COMMENT ON TABLE import_batch IS 'One row per import or form entry, with the reconciliation of its rows';
COMMENT ON COLUMN import_batch.batch_id IS 'Running number';
COMMENT ON COLUMN import_batch.started_at IS 'Start (UTC)';
COMMENT ON COLUMN import_batch.files IS 'Received files as JSON: name, SHA-256, size';
COMMENT ON COLUMN import_batch.program IS 'Version of the program that wrote the batch';
COMMENT ON COLUMN import_batch.received IS 'Source rows received; equals new + version + unchanged + held, as counted at the import';
COMMENT ON COLUMN import_batch.resubmitted IS 'Of the received rows, those that answer a row held before';
COMMENT ON COLUMN import_batch.accepted_new IS 'Rows that named a key not known before';
COMMENT ON COLUMN import_batch.accepted_version IS 'Rows that changed a known record';
COMMENT ON COLUMN import_batch.unchanged IS 'Rows that said nothing new';
COMMENT ON COLUMN import_batch.held IS 'Rows held back at the import';
COMMENT ON COLUMN import_batch.reason IS 'Why, for corrections and withdrawals';

CREATE TABLE batch_rows (
    batch_id INTEGER NOT NULL,
    table_name VARCHAR NOT NULL,
    received INTEGER NOT NULL,
    accepted_new INTEGER NOT NULL,
    accepted_version INTEGER NOT NULL,
    unchanged INTEGER NOT NULL,
    held INTEGER NOT NULL
);
COMMENT ON TABLE batch_rows IS 'Reconciliation of a batch per table';

CREATE TABLE quarantine (
    quarantine_id VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    table_name VARCHAR NOT NULL,
    file VARCHAR NOT NULL,
    line INTEGER NOT NULL,
    state VARCHAR NOT NULL,
    problems INTEGER NOT NULL,
    resolved_at TIMESTAMP,
    resolved_by VARCHAR,
    resolved_batch INTEGER,
    resolution VARCHAR
);
COMMENT ON TABLE quarantine IS 'Rows held back; their cells lie with the identifiers, in identity.duckdb';
COMMENT ON COLUMN quarantine.state IS 'open, fixed (accepted after correction) or dismissed (by a named person, with a reason)';

CREATE TABLE quarantine_problem (
    quarantine_id VARCHAR NOT NULL,
    column_name VARCHAR NOT NULL,
    rule VARCHAR NOT NULL,
    severity VARCHAR NOT NULL,
    message VARCHAR NOT NULL,
    hint VARCHAR NOT NULL
);
COMMENT ON TABLE quarantine_problem IS 'Every problem of every held row, in words';

CREATE TABLE batch_warning (
    batch_id INTEGER NOT NULL,
    table_name VARCHAR NOT NULL,
    file VARCHAR NOT NULL,
    line INTEGER NOT NULL,
    column_name VARCHAR NOT NULL,
    rule VARCHAR NOT NULL,
    message VARCHAR NOT NULL
);
COMMENT ON TABLE batch_warning IS 'Rows that were accepted although something about them should be looked at';

CREATE TABLE audit_event (
    seq BIGINT NOT NULL,
    happened_at TIMESTAMP NOT NULL,
    actor VARCHAR NOT NULL,
    action VARCHAR NOT NULL,
    object_kind VARCHAR NOT NULL,
    object_key VARCHAR NOT NULL,
    outcome VARCHAR NOT NULL,
    details VARCHAR NOT NULL,
    prev VARCHAR NOT NULL,
    mac VARCHAR NOT NULL
);
COMMENT ON TABLE audit_event IS 'HMAC-SHA-256 chain: each entry is bound to the one before it under the site key';
COMMENT ON COLUMN audit_event.seq IS 'Running number without gaps, from 1';
COMMENT ON COLUMN audit_event.happened_at IS 'When (UTC)';
COMMENT ON COLUMN audit_event.details IS 'Canonical JSON; never identifiers or free text';
COMMENT ON COLUMN audit_event.prev IS 'mac of the entry before';
COMMENT ON COLUMN audit_event.mac IS 'HMAC-SHA-256 over prev and the canonical form of this entry';

CREATE TABLE site_setting (
    name VARCHAR NOT NULL,
    number DOUBLE,
    day DATE
);
COMMENT ON TABLE site_setting IS 'Local limits of site.toml that measures read; rewritten when site.toml changes';

CREATE TABLE uptake_window (
    tracer VARCHAR NOT NULL,
    from_minutes DOUBLE NOT NULL,
    to_minutes DOUBLE NOT NULL
);
COMMENT ON TABLE uptake_window IS 'Uptake time window per tracer, from site.toml';

CREATE TABLE site_frame (
    code VARCHAR NOT NULL,
    x_min DOUBLE,
    y_min DOUBLE,
    z_min DOUBLE
);
COMMENT ON TABLE site_frame IS 'Coordinate frames of site.toml; the smallest coordinate an axis can have, where the frame is counted from a support';

CREATE TABLE facts_state (
    latest_on DATE,
    revision BIGINT NOT NULL
);
COMMENT ON TABLE facts_state IS 'Latest clinical date among the recorded rows (an as-of date from then on can use the kept facts) and a counter that every write raises';
INSERT INTO facts_state VALUES (NULL, 0);

CREATE TABLE site_state (
    sha256 VARCHAR NOT NULL,
    applied_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE site_state IS 'Digest of the site.toml whose settings the tables above hold';

CREATE TABLE table_state (
    table_name VARCHAR NOT NULL,
    row_count BIGINT NOT NULL,
    digest HUGEINT NOT NULL
);
COMMENT ON TABLE table_state IS 'Rows and content digest (sum of row hashes) of each clinical and history table, bound into the audit chain';
