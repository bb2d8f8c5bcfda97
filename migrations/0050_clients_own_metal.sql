-- Clients' own metal lies in a drawer of its own; metal is alloyed up and down;
-- what a client and the studio agreed upon is settled.

ALTER TABLE metal_accounts DROP CONSTRAINT metal_accounts_kind_known, DROP CONSTRAINT metal_accounts_client;
ALTER TABLE metal_accounts
    ADD CONSTRAINT metal_accounts_kind_known CHECK (kind IN ('supplier', 'fresh', 'returns', 'cast', 'pieces',
        'filings', 'loss', 'delivered', 'refiner', 'client', 'own', 'settled', 'melted', 'difference')),
    ADD CONSTRAINT metal_accounts_client CHECK ((kind IN ('client', 'own')) = (client_id IS NOT NULL));
CREATE INDEX metal_accounts_by_client ON metal_accounts (client_id) WHERE client_id IS NOT NULL;
COMMENT ON COLUMN metal_accounts.kind IS
    'supplier, client, delivered, refiner and settled lie outside the house; own: a client''s metal in a drawer of its own; cast: poured and not yet cut off; pieces: cut off, being finished; melted: on its way into another alloy; settled: what clients bear or leave by agreement';

ALTER TABLE metal_batches DROP CONSTRAINT metal_batches_kind_known;
ALTER TABLE metal_batches ADD CONSTRAINT metal_batches_kind_known CHECK (kind IN ('bought', 'received', 'poured',
    'divested', 'finished', 'delivered', 'returned', 'settled', 'melted', 'refined', 'counted', 'reversed', 'scrapped'));

-- Whatever leaves one account arrives in others: within a batch the postings of
-- each alloy add up to nothing, and so does what is melted from some alloys into
-- others. Checked when the transaction commits.
CREATE OR REPLACE FUNCTION metal_batch_balances() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM 1 FROM metal_postings p JOIN metal_accounts a ON a.id = p.account_id
        WHERE p.batch_id = NEW.batch_id GROUP BY a.alloy_id HAVING sum(p.cg) <> 0;
    IF FOUND THEN
        RAISE EXCEPTION 'metal batch % does not balance', NEW.batch_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'metal_batch_balances';
    END IF;
    PERFORM 1 FROM metal_postings p JOIN metal_accounts a ON a.id = p.account_id
        WHERE p.batch_id = NEW.batch_id AND a.kind = 'melted' HAVING sum(p.cg) <> 0;
    IF FOUND THEN
        RAISE EXCEPTION 'metal batch % melts more or less than it makes', NEW.batch_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'metal_batch_balances';
    END IF;
    RETURN NULL;
END $$;

-- Sums by month, kept up with the postings, so that the balance at any moment
-- costs the months before it and the postings of its own month.
CREATE TABLE metal_months (
    account_id uuid NOT NULL REFERENCES metal_accounts,
    month      date NOT NULL,
    cg         bigint NOT NULL,
    PRIMARY KEY (account_id, month)
);
COMMENT ON COLUMN metal_months.month IS 'first day of the month of the batch, in UTC';
INSERT INTO metal_months (account_id, month, cg)
    SELECT p.account_id, date_trunc('month', b.at AT TIME ZONE 'UTC')::date, sum(p.cg)
    FROM metal_postings p JOIN metal_batches b ON b.id = p.batch_id GROUP BY 1, 2;

CREATE OR REPLACE FUNCTION metal_balance_moves() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO metal_balances (account_id, cg) VALUES (NEW.account_id, NEW.cg)
    ON CONFLICT (account_id) DO UPDATE SET cg = metal_balances.cg + EXCLUDED.cg;
    INSERT INTO metal_months (account_id, month, cg)
        SELECT NEW.account_id, date_trunc('month', b.at AT TIME ZONE 'UTC')::date, NEW.cg
        FROM metal_batches b WHERE b.id = NEW.batch_id
    ON CONFLICT (account_id, month) DO UPDATE SET cg = metal_months.cg + EXCLUDED.cg;
    RETURN NULL;
END $$;

-- How much of a charge must be fresh: by alloy, else the studio's rule.
ALTER TABLE alloys ADD COLUMN least_fresh double precision
    CONSTRAINT alloys_least_fresh CHECK (least_fresh BETWEEN 0 AND 1);

-- A charge may be a client's own metal.
ALTER TABLE pours DROP CONSTRAINT pours_charge;
ALTER TABLE pours
    ADD COLUMN own_cg bigint NOT NULL DEFAULT 0 CONSTRAINT pours_own CHECK (own_cg >= 0),
    ADD COLUMN own_client_id uuid REFERENCES clients,
    ADD CONSTRAINT pours_charge CHECK (fresh_cg + returns_cg + own_cg > 0),
    ADD CONSTRAINT pours_own_client CHECK ((own_cg > 0) = (own_client_id IS NOT NULL));
