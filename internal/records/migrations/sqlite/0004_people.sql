-- Who stands behind a name in journals that must be able to forget it: the chain
-- holds only the id, which tells nothing. Erasing blanks initials and badge.
CREATE TABLE people (
	id       TEXT PRIMARY KEY CHECK (id <> ''),
	initials TEXT,                     -- NULL: erased
	badge    TEXT                      -- '': none; NULL: erased
) STRICT;

CREATE TRIGGER people_update BEFORE UPDATE ON people WHEN NEW.id IS NOT OLD.id OR NEW.initials IS NOT NULL OR NEW.badge IS NOT NULL BEGIN SELECT RAISE(ABORT, 'people are only added and erased'); END;
CREATE TRIGGER people_delete BEFORE DELETE ON people BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER people_replace BEFORE INSERT ON people WHEN EXISTS (SELECT 1 FROM people WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are never replaced'); END;
