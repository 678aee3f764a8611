-- Tables of counts that left the service, append-only: a later one may not show by its
-- difference what an earlier one hid. Who was counted lies in identity.duckdb.
CREATE TABLE release (
    release_no INTEGER NOT NULL,
    released_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    purpose VARCHAR NOT NULL,
    population_digest VARCHAR NOT NULL,
    units INTEGER NOT NULL,
    dimensions VARCHAR NOT NULL,
    hidden_up_to INTEGER NOT NULL
);
COMMENT ON TABLE release IS 'Tables of counts that left the service';
COMMENT ON COLUMN release.release_no IS 'Running number';
COMMENT ON COLUMN release.released_at IS 'When (UTC)';
COMMENT ON COLUMN release.author IS 'Who released it';
COMMENT ON COLUMN release.purpose IS 'What for';
COMMENT ON COLUMN release.population_digest IS 'Keyed digest (HMAC-SHA-256 under the site key) of those counted';
COMMENT ON COLUMN release.units IS 'How many were counted';
COMMENT ON COLUMN release.dimensions IS 'Columns of the table (JSON)';
COMMENT ON COLUMN release.hidden_up_to IS 'Cells of 1 to so many were hidden';

CREATE TABLE release_cell (
    release_no INTEGER NOT NULL,
    cell VARCHAR NOT NULL,
    is_shown BOOLEAN NOT NULL,
    shown_count INTEGER
);
COMMENT ON TABLE release_cell IS 'Cells of a released table';
COMMENT ON COLUMN release_cell.release_no IS 'Release';
COMMENT ON COLUMN release_cell.cell IS 'Levels of the cell (JSON); of a margin one is null, of the total both';
COMMENT ON COLUMN release_cell.is_shown IS 'Whether its count was published';
COMMENT ON COLUMN release_cell.shown_count IS 'The count, where it was published';
