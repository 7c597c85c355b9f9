-- What is followed over time by events alone: lots, and whatever else comes. The
-- event's content is in the chain; this table finds it.
CREATE TABLE journal (
	topic TEXT NOT NULL CHECK (topic <> ''),
	name  TEXT NOT NULL CHECK (name <> ''),
	seq   BIGINT NOT NULL,             -- from 1, without gaps, of this topic and name
	kind  TEXT NOT NULL,
	event BIGINT NOT NULL UNIQUE REFERENCES events (seq),
	PRIMARY KEY (topic, name, seq)
);

CREATE TRIGGER journal_keep BEFORE UPDATE OR DELETE ON journal FOR EACH ROW EXECUTE FUNCTION records_refuse();
CREATE TRIGGER journal_keep_all BEFORE TRUNCATE ON journal FOR EACH STATEMENT EXECUTE FUNCTION records_refuse();
