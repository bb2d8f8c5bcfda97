-- A photo taken off by mistake is put back: it stays, seen by nobody.
ALTER TABLE photos
    ADD COLUMN taken_off_at timestamptz,
    ADD CONSTRAINT photos_off_are_not_shared CHECK (taken_off_at IS NULL OR NOT shared);
