-- Whoever records an inspection names it by a key of its own making, so that it
-- can ask again after an answer that was lost, and nothing is recorded twice.
-- NULL: none was given.
ALTER TABLE inspections ADD COLUMN client_key TEXT;
CREATE UNIQUE INDEX inspections_client_key ON inspections (client_key);
