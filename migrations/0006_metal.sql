-- The metal ledger: double entry in whole centigrams, by alloy. Postings are
-- never edited; a mistake is reversed by another batch.

CREATE TABLE metal_accounts (
    id        uuid PRIMARY KEY,
    kind      text NOT NULL CONSTRAINT metal_accounts_kind_known
              CHECK (kind IN ('supplier', 'fresh', 'returns', 'cast', 'pieces', 'filings', 'loss', 'delivered', 'refiner', 'client', 'difference')),
    alloy_id  uuid NOT NULL REFERENCES alloys,
    client_id uuid REFERENCES clients,
    CONSTRAINT metal_accounts_client CHECK ((kind = 'client') = (client_id IS NOT NULL))
);
CREATE UNIQUE INDEX metal_accounts_unique ON metal_accounts (kind, alloy_id, coalesce(client_id, '00000000-0000-0000-0000-000000000000'));
COMMENT ON COLUMN metal_accounts.kind IS
    'supplier, client, delivered and refiner lie outside the house; cast: poured and not yet cut off; pieces: cut off, being finished';

CREATE TABLE metal_lots (
    id          uuid PRIMARY KEY,
    alloy_id    uuid NOT NULL REFERENCES alloys,
    lot         text NOT NULL,
    bought_cg   bigint NOT NULL CONSTRAINT metal_lots_mass CHECK (bought_cg > 0),
    bought_on   date NOT NULL,
    price_per_g numeric(20, 8),
    currency    char(3),
    supplier    text NOT NULL DEFAULT '',
    CONSTRAINT metal_lots_unique UNIQUE (alloy_id, lot)
);

CREATE TABLE metal_batches (
    id        uuid PRIMARY KEY,
    kind      text NOT NULL CONSTRAINT metal_batches_kind_known
              CHECK (kind IN ('bought', 'poured', 'divested', 'finished', 'delivered', 'refined', 'counted', 'reversed', 'scrapped')),
    at        timestamptz NOT NULL,
    person_id uuid REFERENCES people,
    subject   text NOT NULL DEFAULT '',
    lot_id    uuid REFERENCES metal_lots,
    reverses  uuid REFERENCES metal_batches CONSTRAINT metal_batches_reversed_once UNIQUE,
    note      text NOT NULL DEFAULT '',
    CONSTRAINT metal_batches_reversal CHECK ((kind = 'reversed') = (reverses IS NOT NULL))
);
CREATE INDEX metal_batches_by_time ON metal_batches (at DESC, id);
CREATE INDEX metal_batches_by_subject ON metal_batches (subject);

CREATE TABLE metal_postings (
    id         bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    batch_id   uuid NOT NULL REFERENCES metal_batches,
    account_id uuid NOT NULL REFERENCES metal_accounts,
    cg         bigint NOT NULL CONSTRAINT metal_postings_not_nothing CHECK (cg <> 0)
);
CREATE INDEX metal_postings_by_batch ON metal_postings (batch_id);
CREATE INDEX metal_postings_by_account ON metal_postings (account_id) INCLUDE (cg);

CREATE TRIGGER metal_batches_append_only BEFORE UPDATE OR DELETE ON metal_batches
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER metal_postings_append_only BEFORE UPDATE OR DELETE ON metal_postings
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER metal_batches_announced AFTER INSERT ON metal_batches
    FOR EACH ROW EXECUTE FUNCTION announce_change('id');

-- Whatever leaves one account arrives in others: within a batch the postings
-- of each alloy add up to nothing. Checked when the transaction commits.
CREATE FUNCTION metal_batch_balances() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM 1 FROM metal_postings p JOIN metal_accounts a ON a.id = p.account_id
        WHERE p.batch_id = NEW.batch_id GROUP BY a.alloy_id HAVING sum(p.cg) <> 0;
    IF FOUND THEN
        RAISE EXCEPTION 'metal batch % does not balance', NEW.batch_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'metal_batch_balances';
    END IF;
    RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER metal_batch_balances AFTER INSERT ON metal_postings
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION metal_batch_balances();

-- Balances kept up with the postings, so that reading one costs one row however
-- long the ledger grows.
CREATE TABLE metal_balances (
    account_id uuid PRIMARY KEY REFERENCES metal_accounts,
    cg         bigint NOT NULL
);
CREATE FUNCTION metal_balance_moves() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO metal_balances (account_id, cg) VALUES (NEW.account_id, NEW.cg)
    ON CONFLICT (account_id) DO UPDATE SET cg = metal_balances.cg + EXCLUDED.cg;
    RETURN NULL;
END $$;
CREATE TRIGGER metal_balance_moves AFTER INSERT ON metal_postings
    FOR EACH ROW EXECUTE FUNCTION metal_balance_moves();

CREATE TABLE outbox (
    id         uuid PRIMARY KEY,
    kind       text NOT NULL,
    recipient  text NOT NULL,
    content    jsonb NOT NULL,
    created_at timestamptz NOT NULL,
    sent_at    timestamptz,
    attempts   integer NOT NULL DEFAULT 0,
    error      text
);
CREATE INDEX outbox_waiting ON outbox (created_at) WHERE sent_at IS NULL;
