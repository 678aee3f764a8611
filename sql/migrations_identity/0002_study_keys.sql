-- Random keys under which a project knows patients, procedures, findings and operators. They lie
-- with the identifiers: in the backups of the folder, in no export, and gone with an erasure.
CREATE TABLE study_key (
    project VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,
    original VARCHAR NOT NULL,
    number INTEGER NOT NULL,
    shift_days INTEGER,
    patient VARCHAR,
    drawn_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE study_key IS 'Random number of each record in each project, and the days by which the dates of a patient are moved';

-- Who stands in which released cell: needed to see that the next release would show a few of them.
CREATE TABLE release_member (
    release_no INTEGER NOT NULL,
    cell VARCHAR NOT NULL,
    unit_key VARCHAR NOT NULL,
    patient VARCHAR NOT NULL
);
COMMENT ON TABLE release_member IS 'Units counted in each cell of a released table';
