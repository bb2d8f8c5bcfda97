-- The password of the mail server is sealed with a key that lies in a file beside the database.
-- One that lies here in clear from before is sealed when the program next starts with a key.

ALTER TABLE post_office
    ADD COLUMN sealed    bytea,
    -- The certificate of an authority of the studio's own, in PEM, for a server that no public one vouches for.
    ADD COLUMN authority text NOT NULL DEFAULT '';
COMMENT ON COLUMN post_office.password IS 'empty, but for one kept before there was a key';
