-- Sums by day beside those by month: the balance at any moment then costs the
-- months before it, the days of its month before it, and the entries of its day.

CREATE TABLE metal_days (
    day        date NOT NULL,
    account_id uuid NOT NULL REFERENCES metal_accounts,
    cg         bigint NOT NULL,
    PRIMARY KEY (day, account_id)
);
COMMENT ON COLUMN metal_days.day IS 'day of the batch, in UTC';
INSERT INTO metal_days (day, account_id, cg)
    SELECT (b.at AT TIME ZONE 'UTC')::date, p.account_id, sum(p.cg)
    FROM metal_postings p JOIN metal_batches b ON b.id = p.batch_id GROUP BY 1, 2;

CREATE OR REPLACE FUNCTION metal_balance_moves() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    moved_on date;
BEGIN
    SELECT (at AT TIME ZONE 'UTC')::date INTO moved_on FROM metal_batches WHERE id = NEW.batch_id;
    INSERT INTO metal_balances (account_id, cg) VALUES (NEW.account_id, NEW.cg)
    ON CONFLICT (account_id) DO UPDATE SET cg = metal_balances.cg + EXCLUDED.cg;
    INSERT INTO metal_months (account_id, month, cg)
        VALUES (NEW.account_id, date_trunc('month', moved_on)::date, NEW.cg)
    ON CONFLICT (account_id, month) DO UPDATE SET cg = metal_months.cg + EXCLUDED.cg;
    INSERT INTO metal_days (day, account_id, cg) VALUES (moved_on, NEW.account_id, NEW.cg)
    ON CONFLICT (day, account_id) DO UPDATE SET cg = metal_days.cg + EXCLUDED.cg;
    RETURN NULL;
END $$;
