-- Letters to clients: written from a template, looked through, sent by the studio's own server.
-- Until it is sent a letter waits here, and a server that is down only makes it wait longer.

CREATE TABLE letter_templates (
    kind    text PRIMARY KEY,
    subject text NOT NULL,
    body    text NOT NULL,
    version bigint NOT NULL DEFAULT 1
);

CREATE TABLE post_office (
    id         boolean PRIMARY KEY DEFAULT true CONSTRAINT post_office_single CHECK (id),
    transport  text NOT NULL DEFAULT 'off' CONSTRAINT post_office_transport CHECK (transport IN ('off', 'folder', 'smtp')),
    folder     text NOT NULL DEFAULT '',
    host       text NOT NULL DEFAULT '',
    port       integer NOT NULL DEFAULT 587 CONSTRAINT post_office_port CHECK (port BETWEEN 1 AND 65535),
    security   text NOT NULL DEFAULT 'starttls' CONSTRAINT post_office_security CHECK (security IN ('tls', 'starttls', 'none')),
    login      text NOT NULL DEFAULT '',
    password   text NOT NULL DEFAULT '',
    from_email text NOT NULL DEFAULT '',
    reply_to   text NOT NULL DEFAULT '',
    version    bigint NOT NULL DEFAULT 1
);
INSERT INTO post_office DEFAULT VALUES;

ALTER TABLE outbox
    DROP COLUMN content,
    DROP COLUMN error,
    ADD COLUMN state text NOT NULL DEFAULT 'draft'
        CONSTRAINT outbox_state_known CHECK (state IN ('draft', 'waiting', 'sent', 'given_up', 'thrown_away')),
    ADD COLUMN recipient_name text NOT NULL DEFAULT '',
    ADD COLUMN subject text NOT NULL DEFAULT '' CONSTRAINT outbox_subject_one_line CHECK (subject !~ '[\r\n]'),
    ADD COLUMN body text NOT NULL DEFAULT '',
    ADD COLUMN client_id uuid REFERENCES clients,
    ADD COLUMN order_id uuid REFERENCES orders,
    ADD COLUMN invoice_id uuid REFERENCES invoices,
    -- The same at every try, so that a letter that arrives twice is known to be one.
    ADD COLUMN message_id text NOT NULL DEFAULT '',
    ADD COLUMN next_try_at timestamptz,
    ADD COLUMN claimed_until timestamptz,
    ADD COLUMN trouble text NOT NULL DEFAULT '',
    ADD COLUMN made_by uuid REFERENCES people,
    ADD COLUMN version bigint NOT NULL DEFAULT 1,
    -- The message as it went out (RFC 5322).
    ADD COLUMN sent_message bytea,
    ADD CONSTRAINT outbox_recipient_one_line CHECK (recipient !~ '[\r\n]' AND recipient_name !~ '[\r\n]'),
    ADD CONSTRAINT outbox_sent CHECK ((state = 'sent') = (sent_at IS NOT NULL));
DROP INDEX outbox_waiting;
CREATE INDEX outbox_waiting ON outbox (next_try_at) WHERE state = 'waiting';
CREATE INDEX outbox_by_time ON outbox (created_at DESC, id);
CREATE INDEX outbox_by_order ON outbox (order_id) WHERE order_id IS NOT NULL;
