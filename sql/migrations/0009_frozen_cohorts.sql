-- Cohort files as they were frozen: written once, never changed. A later version stands beside an
-- earlier one and names it by its digest.
CREATE TABLE frozen_cohort (
    name VARCHAR NOT NULL,
    version INTEGER NOT NULL,
    sha256 VARCHAR NOT NULL,
    content VARCHAR NOT NULL,
    author VARCHAR NOT NULL,
    frozen_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE frozen_cohort IS 'Cohort files of studies as they were frozen';
COMMENT ON COLUMN frozen_cohort.name IS 'Name of the cohort';
COMMENT ON COLUMN frozen_cohort.version IS 'Version, from 1 without a gap';
COMMENT ON COLUMN frozen_cohort.sha256 IS 'SHA-256 of the content';
COMMENT ON COLUMN frozen_cohort.content IS 'Canonical JSON of the cohort file; holds no patient';
COMMENT ON COLUMN frozen_cohort.author IS 'Who froze it';
COMMENT ON COLUMN frozen_cohort.frozen_at IS 'When (UTC)';
