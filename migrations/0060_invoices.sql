-- What clients owe, and what they paid. An invoice gets its number when it is issued and
-- never changes after that; a mistake is put right by a credit note.

CREATE TABLE invoicing (
    id             boolean PRIMARY KEY DEFAULT true CONSTRAINT invoicing_single CHECK (id),
    address        text NOT NULL DEFAULT '',
    tax_number     text NOT NULL DEFAULT '',
    pay_to         text NOT NULL DEFAULT '',
    footer         text NOT NULL DEFAULT '',
    due_days       integer NOT NULL DEFAULT 14 CONSTRAINT invoicing_due_days CHECK (due_days BETWEEN 0 AND 365),
    invoice_prefix text NOT NULL DEFAULT '',
    credit_prefix  text NOT NULL DEFAULT 'C',
    tax_rounding   text NOT NULL DEFAULT 'line' CONSTRAINT invoicing_tax_rounding CHECK (tax_rounding IN ('line', 'document')),
    paper          text NOT NULL DEFAULT 'a4' CONSTRAINT invoicing_paper CHECK (paper IN ('a4', 'letter')),
    version        bigint NOT NULL DEFAULT 1
);
INSERT INTO invoicing DEFAULT VALUES;

-- A sequence leaves gaps when a transaction fails; a row that is held and counted up does not.
CREATE TABLE document_numbers (
    kind text PRIMARY KEY,
    next integer NOT NULL CONSTRAINT document_numbers_positive CHECK (next > 0)
);
INSERT INTO document_numbers VALUES ('invoice', 1), ('credit_note', 1);

CREATE TABLE invoices (
    id            uuid PRIMARY KEY,
    kind          text NOT NULL CONSTRAINT invoices_kind_known CHECK (kind IN ('invoice', 'credit_note')),
    state         text NOT NULL DEFAULT 'draft' CONSTRAINT invoices_state_known CHECK (state IN ('draft', 'issued')),
    number        integer,
    label         text,
    client_id     uuid NOT NULL REFERENCES clients,
    order_id      uuid REFERENCES orders,
    purpose       text NOT NULL CONSTRAINT invoices_purpose_known CHECK (purpose IN ('deposit', 'rest', 'other')),
    corrects      uuid REFERENCES invoices,
    currency      char(3) NOT NULL,
    tax_inclusive boolean NOT NULL,
    tax_rounding  text NOT NULL CONSTRAINT invoices_tax_rounding CHECK (tax_rounding IN ('line', 'document')),
    net           numeric(18, 4) NOT NULL DEFAULT 0,
    tax           numeric(18, 4) NOT NULL DEFAULT 0,
    total         numeric(18, 4) NOT NULL DEFAULT 0,
    due_days      integer NOT NULL CONSTRAINT invoices_due_days CHECK (due_days BETWEEN 0 AND 365),
    note          text NOT NULL DEFAULT '',
    -- Written when it is issued, so that a move of the studio or of the client changes no invoice.
    issued_on     date,
    due_on        date,
    from_name     text NOT NULL DEFAULT '',
    from_address  text NOT NULL DEFAULT '',
    tax_number    text NOT NULL DEFAULT '',
    pay_to        text NOT NULL DEFAULT '',
    footer        text NOT NULL DEFAULT '',
    to_name       text NOT NULL DEFAULT '',
    to_address    text NOT NULL DEFAULT '',
    made_by       uuid REFERENCES people,
    made_at       timestamptz NOT NULL,
    version       bigint NOT NULL DEFAULT 1,
    CONSTRAINT invoices_numbered UNIQUE (kind, number),
    CONSTRAINT invoices_total CHECK (total = net + tax),
    CONSTRAINT invoices_issued CHECK ((state = 'issued') = (number IS NOT NULL)
        AND (state = 'issued') = (issued_on IS NOT NULL) AND (state = 'issued') = (label IS NOT NULL)),
    CONSTRAINT invoices_corrects CHECK ((kind = 'credit_note') = (corrects IS NOT NULL)),
    CONSTRAINT invoices_not_negative CHECK (state = 'draft' OR total >= 0)
);
CREATE INDEX invoices_by_client ON invoices (client_id);
CREATE INDEX invoices_by_order ON invoices (order_id);
CREATE INDEX invoices_by_corrected ON invoices (corrects) WHERE corrects IS NOT NULL;
CREATE INDEX invoices_by_day ON invoices (issued_on, id);
CREATE UNIQUE INDEX invoices_one_draft ON invoices (order_id, purpose) WHERE state = 'draft' AND kind = 'invoice';

CREATE TABLE invoice_lines (
    invoice_id uuid NOT NULL REFERENCES invoices ON DELETE CASCADE,
    n          integer NOT NULL,
    words      text NOT NULL,
    quantity   numeric(14, 4) NOT NULL,
    unit_price numeric(18, 6) NOT NULL,
    discount   numeric(18, 4) NOT NULL DEFAULT 0,
    -- As shown: with the tax inside or without, as the invoice says.
    amount     numeric(18, 4) NOT NULL,
    net        numeric(18, 4) NOT NULL,
    gross      numeric(18, 4) NOT NULL,
    -- [{"name", "percent", "amount"}]: each tax of the line with what it comes to.
    taxes      jsonb NOT NULL DEFAULT '[]',
    -- Taken over to the cent from a quote or from the invoice that is corrected.
    fixed      boolean NOT NULL DEFAULT false,
    -- The deposit invoice that this line takes off.
    deducts    uuid REFERENCES invoices,
    PRIMARY KEY (invoice_id, n)
);
CREATE INDEX invoice_lines_by_deducted ON invoice_lines (deducts) WHERE deducts IS NOT NULL;

CREATE TABLE invoice_taxes (
    invoice_id uuid NOT NULL REFERENCES invoices ON DELETE CASCADE,
    n          integer NOT NULL,
    name       text NOT NULL,
    percent    numeric(9, 4) NOT NULL,
    base       numeric(18, 4) NOT NULL,
    amount     numeric(18, 4) NOT NULL,
    PRIMARY KEY (invoice_id, n)
);

-- Issuing takes the next number, and only a document that adds up is issued.
CREATE FUNCTION invoice_changes() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    sums record;
BEGIN
    IF OLD.state = 'issued' THEN
        RAISE EXCEPTION 'invoice % is issued', OLD.label
            USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = 'invoices_issued_stays';
    END IF;
    IF TG_OP = 'DELETE' THEN
        RETURN OLD;
    END IF;
    IF NEW.state = 'issued' THEN
        SELECT coalesce(sum(net), 0) AS net, coalesce(sum(gross), 0) AS gross, count(*) AS lines INTO sums
            FROM invoice_lines WHERE invoice_id = NEW.id;
        IF sums.lines = 0 OR sums.net <> NEW.net OR sums.gross <> NEW.total
           OR NEW.tax <> (SELECT coalesce(sum(amount), 0) FROM invoice_taxes WHERE invoice_id = NEW.id) THEN
            RAISE EXCEPTION 'invoice % does not add up', NEW.id
                USING ERRCODE = 'check_violation', CONSTRAINT = 'invoices_add_up';
        END IF;
        UPDATE document_numbers SET next = next + 1 WHERE kind = NEW.kind RETURNING next - 1 INTO NEW.number;
        NEW.label := (SELECT CASE NEW.kind WHEN 'invoice' THEN invoice_prefix ELSE credit_prefix END FROM invoicing)
            || NEW.number;
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER invoice_changes BEFORE UPDATE OR DELETE ON invoices
    FOR EACH ROW EXECUTE FUNCTION invoice_changes();

CREATE FUNCTION invoice_part_changes() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM 1 FROM invoices WHERE state = 'issued'
        AND id = CASE WHEN TG_OP = 'DELETE' THEN OLD.invoice_id ELSE NEW.invoice_id END;
    IF FOUND THEN
        RAISE EXCEPTION 'the lines of an issued invoice stay'
            USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = 'invoices_issued_stays';
    END IF;
    RETURN CASE WHEN TG_OP = 'DELETE' THEN OLD ELSE NEW END;
END $$;
CREATE TRIGGER invoice_lines_change BEFORE INSERT OR UPDATE OR DELETE ON invoice_lines
    FOR EACH ROW EXECUTE FUNCTION invoice_part_changes();
CREATE TRIGGER invoice_taxes_change BEFORE INSERT OR UPDATE OR DELETE ON invoice_taxes
    FOR EACH ROW EXECUTE FUNCTION invoice_part_changes();

-- Every client's account. An issued invoice and a credit note have an entry of the same id.
CREATE TABLE client_entries (
    id         uuid PRIMARY KEY,
    client_id  uuid NOT NULL REFERENCES clients,
    kind       text NOT NULL CONSTRAINT client_entries_kind_known
               CHECK (kind IN ('invoice', 'credit_note', 'payment', 'refund', 'payment_reversed', 'refund_reversed')),
    -- Whether it raises what the client owes.
    debit      boolean NOT NULL GENERATED ALWAYS AS (kind IN ('invoice', 'refund', 'payment_reversed')) STORED,
    currency   char(3) NOT NULL,
    amount     numeric(18, 4) NOT NULL CONSTRAINT client_entries_amount CHECK (amount >= 0),
    on_day     date NOT NULL,
    method     text NOT NULL DEFAULT '',
    reference  text NOT NULL DEFAULT '',
    reverses   uuid REFERENCES client_entries CONSTRAINT client_entries_reversed_once UNIQUE,
    at         timestamptz NOT NULL,
    person_id  uuid REFERENCES people,
    CONSTRAINT client_entries_reversal CHECK ((kind IN ('payment_reversed', 'refund_reversed')) = (reverses IS NOT NULL))
);
CREATE INDEX client_entries_by_client ON client_entries (client_id, on_day, at, id);
CREATE INDEX client_entries_by_day ON client_entries (on_day, id);
CREATE TRIGGER client_entries_append_only BEFORE UPDATE OR DELETE ON client_entries
    FOR EACH ROW EXECUTE FUNCTION refuse_change();

-- Which payment pays for what. A settlement is undone by another with the opposite sign.
CREATE TABLE settlements (
    id        bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    credit_id uuid NOT NULL REFERENCES client_entries,
    debit_id  uuid NOT NULL REFERENCES client_entries,
    amount    numeric(18, 4) NOT NULL CONSTRAINT settlements_not_nothing CHECK (amount <> 0),
    at        timestamptz NOT NULL,
    person_id uuid REFERENCES people
);
CREATE INDEX settlements_by_credit ON settlements (credit_id);
CREATE INDEX settlements_by_debit ON settlements (debit_id);
CREATE TRIGGER settlements_append_only BEFORE UPDATE OR DELETE ON settlements
    FOR EACH ROW EXECUTE FUNCTION refuse_change();

-- What of an entry is settled, kept up with the settlements. Nothing is paid more than it is,
-- and no payment pays more than it was.
CREATE TABLE entry_balances (
    entry_id uuid PRIMARY KEY REFERENCES client_entries,
    amount   numeric(18, 4) NOT NULL,
    settled  numeric(18, 4) NOT NULL DEFAULT 0,
    CONSTRAINT entry_balances_within CHECK (settled BETWEEN 0 AND amount)
);
CREATE INDEX entry_balances_open ON entry_balances (entry_id) WHERE settled < amount;
CREATE FUNCTION client_entry_added() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO entry_balances (entry_id, amount) VALUES (NEW.id, NEW.amount);
    RETURN NULL;
END $$;
CREATE TRIGGER client_entry_added AFTER INSERT ON client_entries
    FOR EACH ROW EXECUTE FUNCTION client_entry_added();
CREATE FUNCTION settlement_added() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM 1 FROM client_entries c JOIN client_entries d ON d.client_id = c.client_id AND d.currency = c.currency
        WHERE c.id = NEW.credit_id AND d.id = NEW.debit_id AND d.debit AND NOT c.debit;
    IF NOT FOUND THEN
        RAISE EXCEPTION 'a settlement joins a credit and a debit of one client in one currency'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'settlements_of_one_account';
    END IF;
    UPDATE entry_balances SET settled = settled + NEW.amount WHERE entry_id IN (NEW.credit_id, NEW.debit_id);
    RETURN NULL;
END $$;
CREATE TRIGGER settlement_added AFTER INSERT ON settlements
    FOR EACH ROW EXECUTE FUNCTION settlement_added();
