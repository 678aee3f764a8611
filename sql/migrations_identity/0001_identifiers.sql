-- What names a person, and the cells of held rows, apart from the clinical facts.
CREATE TABLE patient_identity (
    patient VARCHAR USING COMPRESSION uncompressed NOT NULL,
    patient_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    birth_date DATE,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE patient_identity IS 'Patient identifier and birth date behind each pseudonym';

CREATE TABLE patient_identity_history (
    patient VARCHAR NOT NULL,
    patient_id VARCHAR NOT NULL,
    birth_date DATE,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE patient_identity_history IS 'Replaced versions of patient_identity';

CREATE TABLE procedure_accession (
    procedure_id VARCHAR USING COMPRESSION uncompressed NOT NULL,
    accession VARCHAR USING COMPRESSION uncompressed NOT NULL,
    patient VARCHAR USING COMPRESSION uncompressed NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL
);
COMMENT ON TABLE procedure_accession IS 'Imaging accession number of each procedure';

CREATE TABLE procedure_accession_history (
    procedure_id VARCHAR NOT NULL,
    accession VARCHAR NOT NULL,
    patient VARCHAR NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    batch_id INTEGER NOT NULL,
    superseded_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE procedure_accession_history IS 'Replaced versions of procedure_accession';

CREATE TABLE held_row (
    quarantine_id VARCHAR NOT NULL,
    cells VARCHAR NOT NULL
);
COMMENT ON TABLE held_row IS 'Original cells of each held row as JSON, header to text';
