-- What was inspected. No row of these tables is ever changed or deleted, except
-- that a picture's bytes may be forgotten; the triggers below see to that.
-- Times are text of one width, UTC: 2006-01-02T15:04:05.000000000Z. Hashes are
-- SHA-256, hexadecimal. What was not measured is NULL.

-- Pictures and settings files, once each.
CREATE TABLE pictures (
	sha256 TEXT PRIMARY KEY,
	mime   TEXT NOT NULL,
	size   BIGINT NOT NULL,          -- bytes; 0 where they were never kept
	bytes  BYTEA                    -- NULL: forgotten, or never kept
);

CREATE TABLE texts (
	sha256 TEXT PRIMARY KEY,
	bytes  BYTEA NOT NULL
);

CREATE TABLE inspections (
	id            BIGINT PRIMARY KEY,
	serial        TEXT NOT NULL CHECK (serial <> ''),
	side          TEXT NOT NULL CHECK (side IN ('', 'L', 'R')),
	lot           TEXT NOT NULL,
	bench         TEXT NOT NULL,
	operator      TEXT NOT NULL,
	stage         TEXT NOT NULL,
	started       TEXT NOT NULL,
	ended         TEXT NOT NULL,
	verdict       TEXT NOT NULL,
	score         DOUBLE PRECISION,
	worst_step_um DOUBLE PRECISION,
	program       TEXT NOT NULL,
	libraries     TEXT NOT NULL,
	result        TEXT NOT NULL,      -- result.json, the whole
	result_sha256 TEXT NOT NULL,
	corrects      BIGINT REFERENCES inspections (id)
);
CREATE INDEX inspections_serial ON inspections (serial, side);
CREATE INDEX inspections_started ON inspections (started);
CREATE INDEX inspections_lot ON inspections (lot);
CREATE UNIQUE INDEX inspections_corrects ON inspections (corrects);

CREATE TABLE inspection_pictures (
	inspection BIGINT NOT NULL REFERENCES inspections (id),
	place      BIGINT NOT NULL,        -- from 1, in the order of taking
	file       TEXT NOT NULL,
	view       TEXT NOT NULL,
	light      TEXT NOT NULL,
	angle_deg  DOUBLE PRECISION NOT NULL,
	sha256     TEXT NOT NULL REFERENCES pictures (sha256),
	PRIMARY KEY (inspection, place)
);
CREATE INDEX inspection_pictures_sha256 ON inspection_pictures (sha256);

CREATE TABLE inspection_texts (
	inspection BIGINT NOT NULL REFERENCES inspections (id),
	place      BIGINT NOT NULL,
	role       TEXT NOT NULL CHECK (role IN ('limits', 'scale', 'station')),
	name       TEXT NOT NULL,
	sha256     TEXT NOT NULL REFERENCES texts (sha256),
	PRIMARY KEY (inspection, place)
);

CREATE TABLE findings (
	inspection  BIGINT NOT NULL REFERENCES inspections (id),
	place       BIGINT NOT NULL,       -- from 1, as in the result
	number      BIGINT NOT NULL,       -- as drawn in the pictures
	image       TEXT NOT NULL,
	kind        TEXT NOT NULL,
	zone        TEXT NOT NULL,
	severity    TEXT NOT NULL,
	confidence  DOUBLE PRECISION NOT NULL,
	diameter_mm DOUBLE PRECISION,
	length_mm   DOUBLE PRECISION,
	width_mm    DOUBLE PRECISION,
	area_mm2    DOUBLE PRECISION,
	value_um    DOUBLE PRECISION,
	station     TEXT NOT NULL,
	PRIMARY KEY (inspection, place)
);

CREATE TABLE stations (
	inspection BIGINT NOT NULL REFERENCES inspections (id),
	place      BIGINT NOT NULL,
	image      TEXT NOT NULL,
	angle_deg  DOUBLE PRECISION NOT NULL,
	side       TEXT NOT NULL,
	state      TEXT NOT NULL,
	reason     TEXT NOT NULL,
	step_um    DOUBLE PRECISION,
	u_um       DOUBLE PRECISION,
	gap_um     DOUBLE PRECISION,
	bead_um    DOUBLE PRECISION,
	PRIMARY KEY (inspection, place)
);

-- The chain: see the package's documentation.
CREATE TABLE events (
	seq        BIGINT PRIMARY KEY,     -- from 1, without gaps
	at         TEXT NOT NULL,
	kind       TEXT NOT NULL,
	inspection BIGINT REFERENCES inspections (id),
	content    TEXT NOT NULL,         -- JSON
	prev       TEXT NOT NULL,
	hash       TEXT NOT NULL UNIQUE
);
CREATE INDEX events_inspection ON events (inspection);

-- Nothing is overwritten.
CREATE FUNCTION records_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
	RAISE EXCEPTION 'records are never changed or deleted: add a correction';
END $$;

CREATE TRIGGER texts_keep BEFORE UPDATE OR DELETE ON texts FOR EACH ROW EXECUTE FUNCTION records_refuse();
CREATE TRIGGER texts_keep_all BEFORE TRUNCATE ON texts FOR EACH STATEMENT EXECUTE FUNCTION records_refuse();
CREATE TRIGGER inspections_keep BEFORE UPDATE OR DELETE ON inspections FOR EACH ROW EXECUTE FUNCTION records_refuse();
CREATE TRIGGER inspections_keep_all BEFORE TRUNCATE ON inspections FOR EACH STATEMENT EXECUTE FUNCTION records_refuse();
CREATE TRIGGER inspection_pictures_keep BEFORE UPDATE OR DELETE ON inspection_pictures FOR EACH ROW EXECUTE FUNCTION records_refuse();
CREATE TRIGGER inspection_pictures_keep_all BEFORE TRUNCATE ON inspection_pictures FOR EACH STATEMENT EXECUTE FUNCTION records_refuse();
CREATE TRIGGER inspection_texts_keep BEFORE UPDATE OR DELETE ON inspection_texts FOR EACH ROW EXECUTE FUNCTION records_refuse();
CREATE TRIGGER inspection_texts_keep_all BEFORE TRUNCATE ON inspection_texts FOR EACH STATEMENT EXECUTE FUNCTION records_refuse();
CREATE TRIGGER findings_keep BEFORE UPDATE OR DELETE ON findings FOR EACH ROW EXECUTE FUNCTION records_refuse();
CREATE TRIGGER findings_keep_all BEFORE TRUNCATE ON findings FOR EACH STATEMENT EXECUTE FUNCTION records_refuse();
CREATE TRIGGER stations_keep BEFORE UPDATE OR DELETE ON stations FOR EACH ROW EXECUTE FUNCTION records_refuse();
CREATE TRIGGER stations_keep_all BEFORE TRUNCATE ON stations FOR EACH STATEMENT EXECUTE FUNCTION records_refuse();
CREATE TRIGGER events_keep BEFORE UPDATE OR DELETE ON events FOR EACH ROW EXECUTE FUNCTION records_refuse();
CREATE TRIGGER events_keep_all BEFORE TRUNCATE ON events FOR EACH STATEMENT EXECUTE FUNCTION records_refuse();
CREATE TRIGGER pictures_keep BEFORE DELETE ON pictures FOR EACH ROW EXECUTE FUNCTION records_refuse();
CREATE TRIGGER pictures_keep_all BEFORE TRUNCATE ON pictures FOR EACH STATEMENT EXECUTE FUNCTION records_refuse();

-- A picture's bytes go and, when the same picture is recorded again, come back.
CREATE TRIGGER pictures_update BEFORE UPDATE ON pictures FOR EACH ROW
WHEN (NEW.sha256 IS DISTINCT FROM OLD.sha256 OR (NEW.bytes IS NOT NULL AND OLD.bytes IS NOT NULL)
	OR (NEW.bytes IS NULL AND (NEW.mime IS DISTINCT FROM OLD.mime OR NEW.size IS DISTINCT FROM OLD.size)))
EXECUTE FUNCTION records_refuse();
