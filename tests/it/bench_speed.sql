-- A hundred thousand pieces made in five years, an eighth of them twice; a thousand are in the making.
-- What triggers would write beside is written here, and days are left to be counted by the program.
SET session_replication_role = replica;
CREATE FUNCTION pg_temp.uid(kind integer, n bigint) RETURNS uuid LANGUAGE sql IMMUTABLE AS
    $$ SELECT (lpad(to_hex(n), 8, '0') || '-' || lpad(to_hex(kind), 4, '0') || '-7000-8000-000000000000')::uuid $$;
CREATE FUNCTION pg_temp.names() RETURNS text[] LANGUAGE sql IMMUTABLE AS
    $$ SELECT ARRAY['print', 'cure', 'invest', 'burnout', 'cast', 'finish'] $$;
CREATE FUNCTION pg_temp.now() RETURNS timestamptz LANGUAGE sql IMMUTABLE AS $$ SELECT timestamptz '2026-11-25 09:00Z' $$;

INSERT INTO clients (id, name, created_at) SELECT pg_temp.uid(1, n), 'Client ' || n, pg_temp.now() - interval '6 years' FROM generate_series(1, 300) n;
INSERT INTO files (id, sha256, name, media_type, size_bytes, created_at) SELECT pg_temp.uid(2, n), sha256(n::text::bytea), 'model.stl', 'model/stl', 0, pg_temp.now() - interval '6 years' FROM generate_series(1, 800) n;
INSERT INTO designs (id, name, created_at) SELECT pg_temp.uid(3, n), 'Design ' || n, pg_temp.now() - interval '6 years' FROM generate_series(1, 800) n;
INSERT INTO design_versions (id, design_id, n, file_id, file_name, unit, unit_origin, format, triangles, shells, closed, volume_mm3, area_mm2, box_x_mm, box_y_mm, box_z_mm, measured_at)
    SELECT pg_temp.uid(4, n), pg_temp.uid(3, n), 1, pg_temp.uid(2, n), 'model.stl', 'mm', 'told', 'stl', 12, 1, true, 900 + n, 900, 20, 10, 15, pg_temp.now() - interval '6 years' FROM generate_series(1, 800) n;
INSERT INTO alloys (id, name, family, density_g_cm3, melt_c, flask_c)
    SELECT pg_temp.uid(5, n), 'Alloy ' || n, 'silver', 10.3, 960, 540 FROM generate_series(1, 8) n;
INSERT INTO resin_lots (id, resin_id, lot, opened_on, volume_ml)
    SELECT pg_temp.uid(6, n), (SELECT id FROM resins ORDER BY name LIMIT 1), 'L-' || n, date '2021-11-01' + n * 18, 1000 FROM generate_series(0, 102) n;

CREATE TEMP TABLE made AS
    SELECT i, (i - 1) / 5 AS o, pg_temp.now() - (100000 - i) * interval '1577 seconds' AS begun,
           least(6, (100000 - i) * 1577 / 259200) AS done, (100000 - i) * 1577 < 2592000 AS lately FROM generate_series(1, 100000) i;
INSERT INTO orders (id, number, client_id, title, state, due_on, created_at, agreed_at, closed_at)
    SELECT pg_temp.uid(7, o), 10000 + o, pg_temp.uid(1, o % 300 + 1), 'Order of ' || o,
           CASE WHEN min(done) < 6 THEN 'agreed' WHEN bool_or(lately) THEN 'ready' ELSE 'handed_over' END,
           (min(begun) + interval '28 days')::date, min(begun), min(begun), CASE WHEN min(done) = 6 AND NOT bool_or(lately) THEN max(begun) + interval '30 days' END
    FROM made GROUP BY o;
INSERT INTO order_lines (id, order_id, n, design_version_id, alloy_id, quantity, finishing_minutes)
    SELECT pg_temp.uid(8, o), pg_temp.uid(7, o), 1, pg_temp.uid(4, o % 800 + 1), pg_temp.uid(5, o % 8 + 1), 5, 20 FROM made GROUP BY o;
INSERT INTO pieces (id, order_id, order_line_id, n, label, attempt_n, stage, standing, version, created_at, changed_at)
    SELECT pg_temp.uid(9, i), pg_temp.uid(7, o), pg_temp.uid(8, o), (i - 1) % 5 + 1, (10000 + o) || '-' || ((i - 1) % 5 + 1), CASE WHEN i % 8 = 0 THEN 2 ELSE 1 END,
           (pg_temp.names())[least(done + 1, 6)],
           CASE WHEN done = 6 AND lately THEN 'ready' WHEN done = 6 THEN 'handed_over' WHEN done IN (1, 5) AND i % 2 = 0 THEN 'in_hand' ELSE 'waiting' END,
           1, begun, begun + done * interval '3 days' FROM made;

-- The attempts, those that failed first; `done` stages are behind them.
CREATE TEMP TABLE tries AS
    SELECT row_number() OVER (ORDER BY begun) AS seq, each.* FROM (
        SELECT i, o, pg_temp.uid(10, 2 * i) AS id, 1 AS n, begun - interval '10 days' AS begun, interval '1 day' AS pace, (i / 8) % 6 AS done, true AS failed, true AS ended FROM made WHERE i % 8 = 0
        UNION ALL SELECT i, o, pg_temp.uid(10, 2 * i + 1), CASE WHEN i % 8 = 0 THEN 2 ELSE 1 END, begun, interval '3 days', done, false, done = 6 AND NOT lately FROM made) each;
INSERT INTO attempts (id, piece_id, n, begun_at, ended_at, outcome, failed_at_stage, cause)
    SELECT id, pg_temp.uid(9, i), n, begun, CASE WHEN ended THEN begun + (done + failed::integer) * pace END, CASE WHEN failed THEN 'failed' WHEN ended THEN 'good' END,
           CASE WHEN failed THEN (pg_temp.names())[done + 1] END, CASE WHEN failed THEN (ARRAY['incomplete fill', 'shrinkage porosity', 'broken in handling', 'layer shift', 'warped'])[1 + i % 5] END FROM tries;
INSERT INTO attempt_stages (attempt_id, stage, entered_at, finished_at, failed_at, batch)
    SELECT t.id, (pg_temp.names())[s], t.begun + (s - 0.5) * t.pace, CASE WHEN s <= t.done THEN t.begun + s * t.pace END, CASE WHEN s > t.done THEN t.begun + s * t.pace END,
           (ARRAY['plate:', 'cure:', 'flask:', 'load:', 'flask:', 'piece:'])[s] || (t.seq / (ARRAY[10, 16, 8, 32, 8, 1])[s] + 1)
    FROM tries t CROSS JOIN generate_series(1, 6) s WHERE s <= t.done OR (t.failed AND s = t.done + 1);
INSERT INTO attempt_stages (attempt_id, stage, entered_at, batch)
    SELECT t.id, p.stage, pg_temp.now() - interval '1 day', CASE t.done WHEN 1 THEN 'cure:' || t.seq / 16 + 1 ELSE 'piece:' || p.label END
    FROM tries t JOIN pieces p ON p.id = pg_temp.uid(9, t.i) WHERE NOT t.failed AND p.standing = 'in_hand';
INSERT INTO piece_events (piece_id, attempt_id, kind, stage, at, person_id, batch, cause)
    SELECT pg_temp.uid(9, i), tries.id, each.kind, (pg_temp.names())[s], begun + (s - each.before) * pace, p.id, NULL, CASE each.kind WHEN 'failed' THEN 'incomplete fill' END
    FROM tries CROSS JOIN generate_series(1, 6) s CROSS JOIN (SELECT id FROM people ORDER BY login LIMIT 1) p
    CROSS JOIN LATERAL (VALUES ('entered', 0.5), (CASE WHEN s <= done THEN 'finished' ELSE 'failed' END, 0.0)) each(kind, before)
    WHERE s <= done OR (failed AND s = done + 1) ORDER BY begun, s;
INSERT INTO piece_events (piece_id, attempt_id, kind, stage, at) SELECT pg_temp.uid(9, i), id, 'queued', 'print', begun FROM tries;

-- Plates of ten, batches of sixteen, flasks of eight, loads of four flasks.
INSERT INTO plates (id, number, state, printer_id, resin_lot_id, layer_um, exposure_s, supports, estimated_min, resin_ml, created_at, started_at, ended_at, bottom_layers, bottom_exposure_s, lift_mm, lift_s)
    SELECT pg_temp.uid(11, seq / 10), seq / 10 + 1, 'done', (SELECT array_agg(id ORDER BY name) FROM printers)[1 + (seq / 10) % 2], pg_temp.uid(6, (seq / 10) / 120), 50, 6,
           (ARRAY['light', 'medium', 'heavy'])[1 + (seq / 10) % 3], 240, 40, min(begun), min(begun) + interval '4 hours', max(begun) + interval '1 day', 5, 40, 6, 6
    FROM tries WHERE done > 0 GROUP BY seq / 10;
INSERT INTO plate_pieces (plate_id, attempt_id, left_at) SELECT pg_temp.uid(11, seq / 10), id, begun + pace FROM tries WHERE done > 0;
INSERT INTO cure_batches (id, number, state, wash_minutes, medium, cure_minutes, created_at, ended_at)
    SELECT pg_temp.uid(12, seq / 16), seq / 16 + 1, CASE WHEN min(done) > 1 THEN 'done' ELSE 'curing' END, 6, (ARRAY['air', 'water', 'glycerin'])[1 + (seq / 16) % 3], 30, min(begun),
           CASE WHEN min(done) > 1 THEN max(begun) + interval '4 days' END
    FROM tries t WHERE done > 1 OR (done = 1 AND NOT failed AND i % 2 = 0) GROUP BY seq / 16;
INSERT INTO cure_batch_pieces (cure_batch_id, attempt_id, left_at)
    SELECT pg_temp.uid(12, seq / 16), id, CASE WHEN done > 1 THEN begun + interval '4 days' END FROM tries WHERE done > 1 OR (done = 1 AND NOT failed AND i % 2 = 0);
INSERT INTO flasks (id, number, flask_type_id, alloy_id, investment_id, family_id, state, base_mass_g, tree_mass_g, pattern_density_g_cm3, charge_g, powder_g, water_g, flask_c,
                    weighed_at, mixed_at, set_from_at, latest_start_at, created_at)
    SELECT pg_temp.uid(13, seq / 8), seq / 8 + 1, (SELECT id FROM flask_types ORDER BY name LIMIT 1), pg_temp.uid(5, (seq / 8) % 8 + 1), (SELECT id FROM investments LIMIT 1),
           (SELECT id FROM burnout_families ORDER BY name LIMIT 1),
           CASE WHEN bool_and(failed) THEN 'divested' ELSE (ARRAY['setting', 'hot', 'divested', 'divested'])[min(done) FILTER (WHERE NOT failed) - 2] END,
           50, 80, 1.1, 200, 900, 360, 520, min(begun) + interval '6 days', min(begun) + interval '6 days', min(begun) + interval '6 days 2 hours',
           min(begun) + interval '9 days', min(begun) + interval '6 days'
    FROM tries WHERE done > 2 GROUP BY seq / 8;
INSERT INTO flask_pieces (flask_id, attempt_id, sprues, sprue_diameter_mm, left_at)
    SELECT pg_temp.uid(13, seq / 8), id, 1 + seq % 2, 3, CASE WHEN done > 4 OR failed THEN begun + interval '15 days' END FROM tries WHERE done > 2;
INSERT INTO kiln_loads (id, number, kiln_id, state, family_id, size_class, programme, planned_start_at, planned_held_at, started_at, held_at, ended_at)
    SELECT pg_temp.uid(14, n), n + 1, (SELECT id FROM kilns ORDER BY name OFFSET n % 2 LIMIT 1), 'ended', (SELECT id FROM burnout_families ORDER BY name LIMIT 1), 'S',
           '[{"kind":"ramp","target_c":730,"minutes":300},{"kind":"ramp","target_c":520,"minutes":60}]', at, at + interval '6 hours', at, at + interval '6 hours', at + interval '12 hours'
    FROM (SELECT ((('x' || substr(id::text, 1, 8))::bit(32)::bigint) / 4)::integer AS n, min(created_at) + interval '1 day' AS at FROM flasks GROUP BY 1) each;
INSERT INTO kiln_load_flasks (kiln_load_id, flask_id, x_mm, y_mm, planned_pour_at, left_at)
    SELECT l.id, f.id, 20 + 120 * (n % 2), 20 + 120 * (n / 2 % 2), l.planned_held_at, l.ended_at
    FROM (SELECT f.*, ('x' || substr(f.id::text, 1, 8))::bit(32)::bigint AS n FROM flasks f WHERE state <> 'setting') f JOIN kiln_loads l ON l.id = pg_temp.uid(14, f.n / 4);
INSERT INTO pours (id, flask_id, kiln_load_id, fresh_cg, returns_cg, melt_c, flask_c, method, poured_at, result)
    SELECT pg_temp.uid(15, number), f.id, lf.kiln_load_id, 12000, 8000, 960, 540, 'vacuum', lf.planned_pour_at, 'good' FROM flasks f JOIN kiln_load_flasks lf ON lf.flask_id = f.id WHERE f.state = 'divested';
INSERT INTO finishing (id, attempt_id, begun_at, raw_cg, finished_cg, minutes, passed, ended_at)
    SELECT pg_temp.uid(16, seq), id, begun + interval '16 days', 1000, CASE WHEN done = 6 THEN 880 END, CASE WHEN done = 6 THEN 18 + i % 7 END, CASE WHEN done = 6 THEN true END, CASE WHEN done = 6 THEN begun + interval '18 days' END
    FROM tries WHERE NOT failed AND (done = 6 OR (done = 5 AND i % 2 = 0));
INSERT INTO bench_steps (id, stage, subject, step, again, told, at)
    SELECT gen_random_uuid(), 'print', 'plate:' || number, 'vat', false, jsonb_build_object('film', (ARRAY['clear', 'clouded', 'new'])[1 + number % 3]), started_at FROM plates
    UNION ALL SELECT gen_random_uuid(), 'print', 'plate:' || number, 'off', false, '{"hours": 4.1}', ended_at FROM plates
    UNION ALL SELECT gen_random_uuid(), 'cure', 'cure:' || number, 'dried', false, jsonb_build_object('by', (ARRAY['standing', 'warm air'])[1 + number % 2], 'minutes', 20), created_at FROM cure_batches
    UNION ALL SELECT gen_random_uuid(), 'invest', 'flask:' || number, 'walled', false, '{"wall": "solid"}', created_at FROM flasks
    UNION ALL SELECT gen_random_uuid(), 'cast', 'flask:' || number, 'crucible', false, '{"crucible": "sound"}', created_at FROM flasks;
INSERT INTO bench_steps (id, stage, subject, attempt_id, step, again, told, at)
    SELECT gen_random_uuid(), 'finish', 'piece:' || (10000 + o) || '-' || ((i - 1) % 5 + 1), id, 'polished', true, '{"minutes": 12, "to": "bright"}', begun + interval '17 days' FROM tries WHERE NOT failed AND done = 6;
-- What was forecast of every casting and what became of it, contraction measured on some, and the
-- metal of every flask that was cut off.
INSERT INTO forecasts (attempt_id, what, verdict, design_version_id, figures, at)
    SELECT id, 'fill', CASE WHEN hard < 0 THEN 'yes' WHEN hard < 1 THEN 'doubtful' ELSE 'no' END, pg_temp.uid(4, o % 800 + 1),
           jsonb_build_object('run_mm', 5 * power(16, hard), 'shortest_mm', 5, 'longest_mm', 80, 'thickness_mm', 1.1), begun + 5 * pace
    FROM (SELECT *, (seq * 7919 % 1000) / 1000.0 * 1.2 + CASE WHEN failed AND i % 5 = 0 THEN 0.2 ELSE -0.5 END AS hard FROM tries) t WHERE done > 4 OR (done = 4 AND failed)
    UNION ALL
    SELECT id, 'feed', CASE WHEN void < 0.05 THEN 'yes' WHEN void < 0.6 THEN 'doubtful' ELSE 'no' END, pg_temp.uid(4, o % 800 + 1),
           jsonb_build_object('porosity_mm3', power(greatest(void, 0), 3) * pi() / 6), begun + 5 * pace
    FROM (SELECT *, (seq * 104729 % 1000) / 1000.0 * 1.0 + CASE WHEN failed AND i % 5 = 1 THEN 0.2 ELSE -0.4 END AS void FROM tries) t WHERE done > 4 OR (done = 4 AND failed);
INSERT INTO bench_steps (id, stage, subject, attempt_id, step, again, told, at)
    SELECT gen_random_uuid(), 'finish', 'piece:' || (10000 + o) || '-' || ((i - 1) % 5 + 1), id, 'measured', false,
           jsonb_build_object('side', 'width', 'mm', 19.6 + (seq % 9) * 0.02), begun + interval '16 days' FROM tries WHERE NOT failed AND done = 6 AND i % 40 = 1;
INSERT INTO metal_accounts (id, kind, alloy_id) SELECT gen_random_uuid(), k, a.id FROM alloys a, unnest(ARRAY['cast', 'pieces', 'returns', 'loss']) k ON CONFLICT DO NOTHING;
INSERT INTO metal_batches (id, kind, at, subject) SELECT pg_temp.uid(17, f.number), 'divested', p.poured_at + interval '2 hours', 'flask:' || f.number FROM flasks f JOIN pours p ON p.flask_id = f.id;
INSERT INTO metal_postings (batch_id, account_id, cg)
    SELECT pg_temp.uid(17, f.number), a.id, CASE a.kind WHEN 'cast' THEN -20000 WHEN 'pieces' THEN 8000 WHEN 'returns' THEN 12000 - lost ELSE lost END
    FROM (SELECT *, 150 + number * 7919 % 300 AS lost FROM flasks) f JOIN pours p ON p.flask_id = f.id
    JOIN metal_accounts a ON a.alloy_id = f.alloy_id AND a.kind IN ('cast', 'pieces', 'returns', 'loss');
INSERT INTO metal_balances SELECT account_id, sum(cg) FROM metal_postings GROUP BY account_id;
INSERT INTO metal_months SELECT p.account_id, date_trunc('month', b.at AT TIME ZONE 'UTC')::date, sum(p.cg)
    FROM metal_postings p JOIN metal_batches b ON b.id = p.batch_id GROUP BY 1, 2;
INSERT INTO metal_days SELECT (b.at AT TIME ZONE 'UTC')::date, p.account_id, sum(p.cg)
    FROM metal_postings p JOIN metal_batches b ON b.id = p.batch_id GROUP BY 1, 2;
INSERT INTO timers (id, subject, name, started_at, due_at, ended_at)
    SELECT gen_random_uuid(), 'cure:' || number, 'Cure', created_at, created_at + interval '30 minutes', coalesce(ended_at, CASE WHEN number % 2 = 0 THEN created_at END) FROM cure_batches;
INSERT INTO yield_marks (on_day)
    SELECT studio_day(coalesce(failed_at, finished_at)) FROM attempt_stages WHERE coalesce(failed_at, finished_at) IS NOT NULL
    UNION SELECT studio_day(ended_at) FROM attempts WHERE outcome IN ('good', 'failed');
SET session_replication_role = DEFAULT;
ANALYZE;
