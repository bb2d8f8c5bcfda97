-- Rates of exchange stand in the price book by day, and settling what was invoiced in another
-- currency tells what its exchange came to.

ALTER TABLE prices
    DROP CONSTRAINT prices_kind_known,
    DROP CONSTRAINT prices_unit_known,
    -- A rate may be small: one dong buys 0.0000351 euros.
    ALTER COLUMN amount TYPE numeric(22, 10);
ALTER TABLE prices
    ADD CONSTRAINT prices_kind_known CHECK (kind IN ('fine_metal', 'alloy', 'premium', 'resin', 'investment',
        'electricity', 'gas', 'exchange')),
    ADD CONSTRAINT prices_unit_known CHECK (unit IN ('g', 'ml', 'kg', 'kWh', '1') AND (unit = '1') = (kind = 'exchange')),
    ADD CONSTRAINT prices_rate CHECK (kind <> 'exchange' OR (amount > 0 AND item <> currency));
COMMENT ON COLUMN prices.item IS
    'fine_metal: the chemical symbol; alloy, premium, resin, investment: the id; electricity, gas: empty; exchange: the other currency, of which one unit of this one buys the amount';

ALTER TABLE settlements
    ADD COLUMN on_day     date,
    ADD COLUMN booked_in  char(3),
    ADD COLUMN difference numeric(18, 4),
    ADD CONSTRAINT settlements_difference CHECK ((booked_in IS NULL) = (difference IS NULL));
COMMENT ON COLUMN settlements.on_day IS 'the day it counts; before this was kept, the day of “at”';
COMMENT ON COLUMN settlements.difference IS
    'in the studio''s currency: what the credit is booked at above what the debit is booked at, gained where it is above nothing';

-- A draft may change its currency as long as nothing of an order or of a corrected invoice binds it.
ALTER TABLE invoices ADD CONSTRAINT invoices_issued_booked CHECK (state = 'draft' OR (booked_in IS NULL) = (booked_total IS NULL));
