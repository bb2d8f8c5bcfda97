-- Other programs: tokens they come with, and addresses that are told what happened.

CREATE TABLE api_tokens (
    id           uuid PRIMARY KEY,
    name         text NOT NULL CONSTRAINT api_tokens_name CHECK (length(btrim(name)) BETWEEN 1 AND 200),
    token_hash   bytea NOT NULL CONSTRAINT api_tokens_hash_unique UNIQUE,
    scopes       text[] NOT NULL CONSTRAINT api_tokens_scopes CHECK (cardinality(scopes) > 0),
    made_by      uuid NOT NULL REFERENCES people,
    made_at      timestamptz NOT NULL,
    used_at      timestamptz,
    revoked_at   timestamptz
);

-- Requests of a token in each minute, counted here so that the limit holds across copies of the program.
CREATE TABLE api_requests (
    token_id uuid NOT NULL REFERENCES api_tokens,
    minute   timestamptz NOT NULL,
    n        integer NOT NULL,
    PRIMARY KEY (token_id, minute)
);

CREATE INDEX pieces_by_label ON pieces (label COLLATE "C");

CREATE TABLE webhooks (
    id         uuid PRIMARY KEY,
    url        text NOT NULL CONSTRAINT webhooks_url CHECK (url ~ '^https?://'),
    secret     bytea NOT NULL,
    events     text[] NOT NULL CONSTRAINT webhooks_events CHECK (cardinality(events) > 0),
    made_by    uuid NOT NULL REFERENCES people,
    made_at    timestamptz NOT NULL,
    ended_at   timestamptz
);

CREATE TABLE webhook_deliveries (
    id            uuid PRIMARY KEY DEFAULT gen_random_uuid(),
    webhook_id    uuid NOT NULL REFERENCES webhooks,
    event         text NOT NULL,
    content       jsonb NOT NULL,
    state         text NOT NULL DEFAULT 'waiting' CONSTRAINT webhook_deliveries_state CHECK (state IN ('waiting', 'delivered', 'given_up')),
    at            timestamptz NOT NULL,
    attempts      integer NOT NULL DEFAULT 0,
    next_try_at   timestamptz NOT NULL,
    claimed_until timestamptz,
    delivered_at  timestamptz,
    trouble       text NOT NULL DEFAULT ''
);
CREATE INDEX webhook_deliveries_waiting ON webhook_deliveries (next_try_at) WHERE state = 'waiting';
CREATE INDEX webhook_deliveries_by_webhook ON webhook_deliveries (webhook_id, at DESC);

-- Written in the transaction of what happened: nothing is told that did not happen, and
-- nothing that happened is forgotten.
CREATE FUNCTION tell_webhooks(event_name text, what jsonb) RETURNS void LANGUAGE sql AS $$
    INSERT INTO webhook_deliveries (webhook_id, event, content, at, next_try_at)
    SELECT id, event_name, what, now(), now() FROM webhooks WHERE ended_at IS NULL AND event_name = ANY (events)
$$;

CREATE FUNCTION order_told() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM tell_webhooks('order.' || NEW.state, jsonb_build_object('order_number', NEW.number, 'title', NEW.title,
        'client_id', NEW.client_id, 'state', NEW.state));
    RETURN NULL;
END $$;
CREATE TRIGGER order_told AFTER UPDATE OF state ON orders
    FOR EACH ROW WHEN (OLD.state IS DISTINCT FROM NEW.state) EXECUTE FUNCTION order_told();

CREATE FUNCTION invoice_told() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM tell_webhooks(NEW.kind || '.issued', jsonb_build_object('id', NEW.id, 'label', NEW.label,
        'client_id', NEW.client_id, 'currency', NEW.currency, 'total', NEW.total::text, 'due_on', NEW.due_on));
    RETURN NULL;
END $$;
CREATE TRIGGER invoice_told AFTER UPDATE OF state ON invoices
    FOR EACH ROW WHEN (NEW.state = 'issued') EXECUTE FUNCTION invoice_told();

CREATE FUNCTION payment_told() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM tell_webhooks('payment.noted', jsonb_build_object('id', NEW.id, 'client_id', NEW.client_id,
        'currency', NEW.currency, 'amount', NEW.amount::text, 'on_day', NEW.on_day));
    RETURN NULL;
END $$;
CREATE TRIGGER payment_told AFTER INSERT ON client_entries
    FOR EACH ROW WHEN (NEW.kind = 'payment') EXECUTE FUNCTION payment_told();
