-- A batch of the metal ledger is whole when its transaction ends: nothing is added to it later, not
-- even what balances, and no ledger is emptied at once.

ALTER TABLE metal_batches ADD COLUMN made_in xid8 NOT NULL DEFAULT pg_current_xact_id();
COMMENT ON COLUMN metal_batches.made_in IS 'the transaction that made it and its postings';

CREATE FUNCTION metal_posting_with_its_batch() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM 1 FROM metal_batches WHERE id = NEW.batch_id AND made_in = pg_current_xact_id();
    IF NOT FOUND THEN
        RAISE EXCEPTION 'metal batch % is closed', NEW.batch_id
            USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = 'metal_batches_closed';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER metal_posting_with_its_batch BEFORE INSERT ON metal_postings
    FOR EACH ROW EXECUTE FUNCTION metal_posting_with_its_batch();

CREATE TRIGGER metal_batches_stay BEFORE TRUNCATE ON metal_batches
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER metal_postings_stay BEFORE TRUNCATE ON metal_postings
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER client_entries_stay BEFORE TRUNCATE ON client_entries
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER settlements_stay BEFORE TRUNCATE ON settlements
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
