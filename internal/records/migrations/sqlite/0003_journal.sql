-- What is followed over time by events alone: lots, and whatever else comes. The
-- event's content is in the chain; this table finds it.
CREATE TABLE journal (
	topic TEXT NOT NULL CHECK (topic <> ''),
	name  TEXT NOT NULL CHECK (name <> ''),
	seq   INTEGER NOT NULL,            -- from 1, without gaps, of this topic and name
	kind  TEXT NOT NULL,
	event INTEGER NOT NULL UNIQUE REFERENCES events (seq),
	PRIMARY KEY (topic, name, seq)
) STRICT;

CREATE TRIGGER journal_update BEFORE UPDATE ON journal BEGIN SELECT RAISE(ABORT, 'records are never changed: add a correction'); END;
CREATE TRIGGER journal_delete BEFORE DELETE ON journal BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER journal_replace BEFORE INSERT ON journal WHEN EXISTS (SELECT 1 FROM journal WHERE event = NEW.event OR (topic = NEW.topic AND name = NEW.name AND seq = NEW.seq)) BEGIN SELECT RAISE(ABORT, 'records are never replaced'); END;
