-- What was inspected. No row of these tables is ever changed or deleted, except
-- that a picture's bytes may be forgotten; the triggers below see to that.
-- Times are text of one width, UTC: 2006-01-02T15:04:05.000000000Z. Hashes are
-- SHA-256, hexadecimal. What was not measured is NULL.

-- Pictures and settings files, once each.
CREATE TABLE pictures (
	sha256 TEXT PRIMARY KEY,
	mime   TEXT NOT NULL,
	size   INTEGER NOT NULL,          -- bytes; 0 where they were never kept
	bytes  BLOB                    -- NULL: forgotten, or never kept
) STRICT;

CREATE TABLE texts (
	sha256 TEXT PRIMARY KEY,
	bytes  BLOB NOT NULL
) STRICT;

CREATE TABLE inspections (
	id            INTEGER PRIMARY KEY,
	serial        TEXT NOT NULL CHECK (serial <> ''),
	side          TEXT NOT NULL CHECK (side IN ('', 'L', 'R')),
	lot           TEXT NOT NULL,
	bench         TEXT NOT NULL,
	operator      TEXT NOT NULL,
	stage         TEXT NOT NULL,
	started       TEXT NOT NULL,
	ended         TEXT NOT NULL,
	verdict       TEXT NOT NULL,
	score         REAL,
	worst_step_um REAL,
	program       TEXT NOT NULL,
	libraries     TEXT NOT NULL,
	result        TEXT NOT NULL,      -- result.json, the whole
	result_sha256 TEXT NOT NULL,
	corrects      INTEGER REFERENCES inspections (id)
) STRICT;
CREATE INDEX inspections_serial ON inspections (serial, side);
CREATE INDEX inspections_started ON inspections (started);
CREATE INDEX inspections_lot ON inspections (lot);
CREATE UNIQUE INDEX inspections_corrects ON inspections (corrects);

CREATE TABLE inspection_pictures (
	inspection INTEGER NOT NULL REFERENCES inspections (id),
	place      INTEGER NOT NULL,        -- from 1, in the order of taking
	file       TEXT NOT NULL,
	view       TEXT NOT NULL,
	light      TEXT NOT NULL,
	angle_deg  REAL NOT NULL,
	sha256     TEXT NOT NULL REFERENCES pictures (sha256),
	PRIMARY KEY (inspection, place)
) STRICT;
CREATE INDEX inspection_pictures_sha256 ON inspection_pictures (sha256);

CREATE TABLE inspection_texts (
	inspection INTEGER NOT NULL REFERENCES inspections (id),
	place      INTEGER NOT NULL,
	role       TEXT NOT NULL CHECK (role IN ('limits', 'scale', 'station')),
	name       TEXT NOT NULL,
	sha256     TEXT NOT NULL REFERENCES texts (sha256),
	PRIMARY KEY (inspection, place)
) STRICT;

CREATE TABLE findings (
	inspection  INTEGER NOT NULL REFERENCES inspections (id),
	place       INTEGER NOT NULL,       -- from 1, as in the result
	number      INTEGER NOT NULL,       -- as drawn in the pictures
	image       TEXT NOT NULL,
	kind        TEXT NOT NULL,
	zone        TEXT NOT NULL,
	severity    TEXT NOT NULL,
	confidence  REAL NOT NULL,
	diameter_mm REAL,
	length_mm   REAL,
	width_mm    REAL,
	area_mm2    REAL,
	value_um    REAL,
	station     TEXT NOT NULL,
	PRIMARY KEY (inspection, place)
) STRICT;

CREATE TABLE stations (
	inspection INTEGER NOT NULL REFERENCES inspections (id),
	place      INTEGER NOT NULL,
	image      TEXT NOT NULL,
	angle_deg  REAL NOT NULL,
	side       TEXT NOT NULL,
	state      TEXT NOT NULL,
	reason     TEXT NOT NULL,
	step_um    REAL,
	u_um       REAL,
	gap_um     REAL,
	bead_um    REAL,
	PRIMARY KEY (inspection, place)
) STRICT;

-- The chain: see the package's documentation.
CREATE TABLE events (
	seq        INTEGER PRIMARY KEY,     -- from 1, without gaps
	at         TEXT NOT NULL,
	kind       TEXT NOT NULL,
	inspection INTEGER REFERENCES inspections (id),
	content    TEXT NOT NULL,         -- JSON
	prev       TEXT NOT NULL,
	hash       TEXT NOT NULL UNIQUE
) STRICT;
CREATE INDEX events_inspection ON events (inspection);

-- Nothing is overwritten.
CREATE TRIGGER texts_update BEFORE UPDATE ON texts BEGIN SELECT RAISE(ABORT, 'records are never changed: add a correction'); END;
CREATE TRIGGER texts_delete BEFORE DELETE ON texts BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER inspections_update BEFORE UPDATE ON inspections BEGIN SELECT RAISE(ABORT, 'records are never changed: add a correction'); END;
CREATE TRIGGER inspections_delete BEFORE DELETE ON inspections BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER inspection_pictures_update BEFORE UPDATE ON inspection_pictures BEGIN SELECT RAISE(ABORT, 'records are never changed: add a correction'); END;
CREATE TRIGGER inspection_pictures_delete BEFORE DELETE ON inspection_pictures BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER inspection_texts_update BEFORE UPDATE ON inspection_texts BEGIN SELECT RAISE(ABORT, 'records are never changed: add a correction'); END;
CREATE TRIGGER inspection_texts_delete BEFORE DELETE ON inspection_texts BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER findings_update BEFORE UPDATE ON findings BEGIN SELECT RAISE(ABORT, 'records are never changed: add a correction'); END;
CREATE TRIGGER findings_delete BEFORE DELETE ON findings BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER stations_update BEFORE UPDATE ON stations BEGIN SELECT RAISE(ABORT, 'records are never changed: add a correction'); END;
CREATE TRIGGER stations_delete BEFORE DELETE ON stations BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER events_update BEFORE UPDATE ON events BEGIN SELECT RAISE(ABORT, 'records are never changed: add a correction'); END;
CREATE TRIGGER events_delete BEFORE DELETE ON events BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER pictures_delete BEFORE DELETE ON pictures BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER texts_replace BEFORE INSERT ON texts WHEN EXISTS (SELECT 1 FROM texts WHERE sha256 = NEW.sha256) BEGIN SELECT RAISE(ABORT, 'records are never replaced'); END;
CREATE TRIGGER pictures_replace BEFORE INSERT ON pictures WHEN EXISTS (SELECT 1 FROM pictures WHERE sha256 = NEW.sha256) BEGIN SELECT RAISE(ABORT, 'records are never replaced'); END;
CREATE TRIGGER inspections_replace BEFORE INSERT ON inspections WHEN EXISTS (SELECT 1 FROM inspections WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are never replaced'); END;
CREATE TRIGGER events_replace BEFORE INSERT ON events WHEN EXISTS (SELECT 1 FROM events WHERE seq = NEW.seq) BEGIN SELECT RAISE(ABORT, 'records are never replaced'); END;
CREATE TRIGGER inspection_pictures_replace BEFORE INSERT ON inspection_pictures WHEN EXISTS (SELECT 1 FROM inspection_pictures WHERE inspection = NEW.inspection AND place = NEW.place) BEGIN SELECT RAISE(ABORT, 'records are never replaced'); END;
CREATE TRIGGER inspection_texts_replace BEFORE INSERT ON inspection_texts WHEN EXISTS (SELECT 1 FROM inspection_texts WHERE inspection = NEW.inspection AND place = NEW.place) BEGIN SELECT RAISE(ABORT, 'records are never replaced'); END;
CREATE TRIGGER findings_replace BEFORE INSERT ON findings WHEN EXISTS (SELECT 1 FROM findings WHERE inspection = NEW.inspection AND place = NEW.place) BEGIN SELECT RAISE(ABORT, 'records are never replaced'); END;
CREATE TRIGGER stations_replace BEFORE INSERT ON stations WHEN EXISTS (SELECT 1 FROM stations WHERE inspection = NEW.inspection AND place = NEW.place) BEGIN SELECT RAISE(ABORT, 'records are never replaced'); END;

-- A picture's bytes go and, when the same picture is recorded again, come back.
CREATE TRIGGER pictures_update BEFORE UPDATE ON pictures
WHEN NEW.sha256 IS NOT OLD.sha256 OR (NEW.bytes IS NOT NULL AND OLD.bytes IS NOT NULL)
	OR (NEW.bytes IS NULL AND (NEW.mime IS NOT OLD.mime OR NEW.size IS NOT OLD.size))
BEGIN SELECT RAISE(ABORT, 'records are never changed: add a correction'); END;
