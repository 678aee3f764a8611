-- What a reviewer held before flags were shown, who signed which decision on what they saw, and
-- the lists that were printed. Rows are added and never changed.
CREATE TABLE own_view (
    view_id INTEGER NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    person VARCHAR NOT NULL,
    procedure_id VARCHAR NOT NULL,
    determination VARCHAR,
    basis VARCHAR NOT NULL
);
COMMENT ON TABLE own_view IS 'A reviewer''s own determination, or that flags were asked for without one';
COMMENT ON COLUMN own_view.view_id IS 'Running number';
COMMENT ON COLUMN own_view.recorded_at IS 'When (UTC)';
COMMENT ON COLUMN own_view.person IS 'Who';
COMMENT ON COLUMN own_view.procedure_id IS 'Procedure that was looked at';
COMMENT ON COLUMN own_view.determination IS 'Own determination; empty where flags were asked for without one';
COMMENT ON COLUMN own_view.basis IS 'Digest of what decides, as it stood';

CREATE TABLE review_signature (
    signature_id INTEGER NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    person VARCHAR NOT NULL,
    role VARCHAR NOT NULL,
    review_id VARCHAR NOT NULL,
    procedure_id VARCHAR NOT NULL,
    decision VARCHAR NOT NULL,
    basis VARCHAR NOT NULL,
    seen VARCHAR NOT NULL
);
COMMENT ON TABLE review_signature IS 'Signatures under joint reviews; two people sign each';
COMMENT ON COLUMN review_signature.signature_id IS 'Running number';
COMMENT ON COLUMN review_signature.recorded_at IS 'When (UTC)';
COMMENT ON COLUMN review_signature.person IS 'Who signed';
COMMENT ON COLUMN review_signature.role IS 'radiologist or pathologist';
COMMENT ON COLUMN review_signature.review_id IS 'Review that was signed';
COMMENT ON COLUMN review_signature.procedure_id IS 'Its procedure';
COMMENT ON COLUMN review_signature.decision IS 'Digest of the decision that was signed';
COMMENT ON COLUMN review_signature.basis IS 'Digest of what decides: a change of it opens the decision again';
COMMENT ON COLUMN review_signature.seen IS 'Digest of everything that was seen';

CREATE TABLE printed_list (
    print_id INTEGER NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    author VARCHAR NOT NULL,
    as_of DATE NOT NULL
);
COMMENT ON TABLE printed_list IS 'Lists of the concordance meeting that were printed';
COMMENT ON COLUMN printed_list.print_id IS 'Running number';
COMMENT ON COLUMN printed_list.recorded_at IS 'When (UTC)';

CREATE TABLE printed_list_row (
    print_id INTEGER NOT NULL,
    procedure_id VARCHAR NOT NULL,
    reason VARCHAR NOT NULL,
    basis VARCHAR NOT NULL
);
COMMENT ON TABLE printed_list_row IS 'What stood on a printed list, and the digest of what decided then';
