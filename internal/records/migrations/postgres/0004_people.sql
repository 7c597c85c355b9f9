-- Who stands behind a name in journals that must be able to forget it: the chain
-- holds only the id, which tells nothing. Erasing blanks initials and badge.
CREATE TABLE people (
	id       TEXT PRIMARY KEY CHECK (id <> ''),
	initials TEXT,                     -- NULL: erased
	badge    TEXT                      -- '': none; NULL: erased
);

CREATE TRIGGER people_keep BEFORE DELETE ON people FOR EACH ROW EXECUTE FUNCTION records_refuse();
CREATE TRIGGER people_keep_all BEFORE TRUNCATE ON people FOR EACH STATEMENT EXECUTE FUNCTION records_refuse();
CREATE TRIGGER people_update BEFORE UPDATE ON people FOR EACH ROW
WHEN (NEW.id IS DISTINCT FROM OLD.id OR NEW.initials IS NOT NULL OR NEW.badge IS NOT NULL)
EXECUTE FUNCTION records_refuse();
