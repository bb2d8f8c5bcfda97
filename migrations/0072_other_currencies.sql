-- Quotes and invoices in another currency than the studio's, booked in its own at the rate that
-- was agreed in the quote.

ALTER TABLE invoices
    -- The studio's currency, how much of the invoice's one unit of it buys, and on which day.
    ADD COLUMN booked_in    char(3),
    ADD COLUMN booked_rate  numeric(20, 10) CONSTRAINT invoices_booked_rate CHECK (booked_rate > 0),
    ADD COLUMN booked_on    date,
    -- What the invoice comes to in the studio's currency.
    ADD COLUMN booked_net   numeric(18, 4),
    ADD COLUMN booked_total numeric(18, 4),
    ADD CONSTRAINT invoices_booked CHECK ((booked_in IS NULL) = (booked_rate IS NULL)
        AND (booked_in IS NULL) = (booked_on IS NULL) AND booked_in IS DISTINCT FROM currency);
ALTER TABLE invoice_taxes ADD COLUMN booked numeric(18, 4);
ALTER TABLE client_entries
    ADD COLUMN booked_in char(3),
    ADD COLUMN booked    numeric(18, 4);
COMMENT ON COLUMN client_entries.booked IS 'in the studio''s currency, where the entry is in another';
