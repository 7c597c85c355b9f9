-- What was built in, so that findings can be set beside it: which faceplate, which
-- batch of resin. NULL: not told.
ALTER TABLE inspections ADD COLUMN faceplate TEXT;
ALTER TABLE inspections ADD COLUMN resin TEXT;
