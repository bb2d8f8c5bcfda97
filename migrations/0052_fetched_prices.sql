-- A price list read from an address that the studio sets; off until there is one.

ALTER TABLE price_rules
    ADD COLUMN fetch_url   text NOT NULL DEFAULT '',
    ADD COLUMN fetch_daily boolean NOT NULL DEFAULT false,
    ADD COLUMN fetched_at  timestamptz,
    ADD COLUMN fetch_said  text NOT NULL DEFAULT '';
