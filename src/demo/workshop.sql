-- The invented studio's workshop. Everything here is made up for the demo,
-- except the metals' densities and temperatures, which are the program's own.

UPDATE studio SET bench_rate = 46, finishing_rate = 52, set_up_minutes = 20, bench_minutes = 12, overhead = 0.18,
    margin = 0.22, tax_name = 'VAT', tax_rate = 0.23, deposit = 0.4, quote_valid_days = 21, metal_loss = 0.015,
    button_share = 0.12, least_fresh = 0.5, ramp_limit = 1, furnace_name = 'Crucible furnace', furnace_crucible_g = 3000;

DELETE FROM working_hours;
INSERT INTO working_hours (weekday, from_min, to_min)
SELECT d, f, t FROM generate_series(1, 5) d, (VALUES (480, 750), (795, 1080)) h (f, t);
INSERT INTO working_hours (weekday, from_min, to_min) VALUES (6, 540, 780);

INSERT INTO resins (id, name, density_g_cm3, shrinkage, wash_minutes, cure_minutes, source) VALUES
    (gen_random_uuid(), 'Castable green', 1.16, 0.006, 6, 40, 'invented for the demo'),
    (gen_random_uuid(), 'Castable amber, high wax', 1.08, 0.009, 8, 55, 'invented for the demo');
INSERT INTO printers (id, name, width_mm, depth_mm, height_mm, layer_um, exposure_s, bottom_layers, bottom_exposure_s, lift_s, hour_rate) VALUES
    (gen_random_uuid(), 'Left bench', 143, 89, 165, 50, 6.5, 5, 42, 6, 3.5),
    (gen_random_uuid(), 'Old faithful', 115, 65, 150, 50, 9, 6, 60, 8, 2);
INSERT INTO investments (id, name, kind, water_per_100, working_minutes, bench_set_min, latest_start_min, source) VALUES
    (gen_random_uuid(), 'White gypsum powder', 'gypsum', 40, 9.5, 120, 2880, 'invented for the demo');
INSERT INTO flask_types (id, name, diameter_mm, height_mm, wall_mm, wall_kind, size_class, owned) VALUES
    (gen_random_uuid(), 'Small', 64, 80, 1.6, 'solid', 'S', 6),
    (gen_random_uuid(), 'Middle', 89, 120, 1.6, 'perforated', 'M', 6),
    (gen_random_uuid(), 'Large', 127, 180, 2, 'perforated', 'L', 3);
INSERT INTO burnout_families (id, name, pattern, investment_kind) VALUES
    (gen_random_uuid(), 'Resin', 'resin', 'gypsum'),
    (gen_random_uuid(), 'Wax', 'wax', 'gypsum');

-- Common practice, no source: gently through the water, a soak for the resin, down to casting temperature.
INSERT INTO programme_segments (family_id, size_class, n, kind, target_c, minutes)
SELECT f.id, s.size, p.n, p.kind, p.target_c, ceil(p.minutes * s.longer * CASE f.pattern WHEN 'wax' THEN 0.8 ELSE 1 END)
FROM burnout_families f,
     (VALUES ('S', 0.8), ('M', 1.0), ('L', 1.3)) s (size, longer),
     (VALUES (1, 'ramp', 150, 60), (2, 'hold', 150, 90), (3, 'ramp', 370, 90), (4, 'hold', 370, 90),
             (5, 'ramp', 730, 120), (6, 'hold', 730, 150), (7, 'ramp', 520, 60), (8, 'hold', 520, 60)) p (n, kind, target_c, minutes);

INSERT INTO kilns (id, name, width_mm, depth_mm, height_mm, top_c, power_kw, cool_min_per_100c, turnaround_min, hour_rate) VALUES
    (gen_random_uuid(), 'Big kiln', 400, 360, 260, 1050, 5.5, 55, 90, 1.2),
    (gen_random_uuid(), 'Small kiln', 240, 220, 210, 1000, 2.6, 45, 60, 0.8);

-- Nights and weekends cost less.
INSERT INTO tariffs (id, name, currency, base_price, valid_from, noted_at)
SELECT gen_random_uuid(), 'Day and night', currency, 0.31, date '2026-01-01', timestamptz '2026-01-01' FROM studio;
INSERT INTO tariff_hours (tariff_id, n, days, from_min, to_min, price)
SELECT id, 1, 'every', 1320, 420, 0.17 FROM tariffs;
INSERT INTO investment_lots (id, investment_id, lot, mass_g, received_on, opened_on, shelf_months)
SELECT gen_random_uuid(), id, '26-0417', 45000, date '2026-09-14', date '2026-10-02', 12 FROM investments;
