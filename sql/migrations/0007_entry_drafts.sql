-- What somebody has begun to enter and not saved. A draft counts nowhere, and holds no identifier
-- and no free text: these are typed when the row is saved.
CREATE TABLE entry_draft (
    person VARCHAR NOT NULL,
    table_name VARCHAR NOT NULL,
    row_key VARCHAR NOT NULL,
    saved_at TIMESTAMP NOT NULL,
    opened_on VARCHAR NOT NULL,
    cells VARCHAR NOT NULL
);
COMMENT ON TABLE entry_draft IS 'Rows that somebody has begun to enter; one per person and row';
COMMENT ON COLUMN entry_draft.person IS 'Who';
COMMENT ON COLUMN entry_draft.table_name IS 'Table of the data dictionary';
COMMENT ON COLUMN entry_draft.row_key IS 'Key of the row, its parts joined by a bar';
COMMENT ON COLUMN entry_draft.saved_at IS 'When (UTC)';
COMMENT ON COLUMN entry_draft.opened_on IS 'Version of the stored row on which the form was opened; empty for a new row';
COMMENT ON COLUMN entry_draft.cells IS 'Field -> text (JSON), without identifiers and free text';
