//! How long the plan's pages take with four hundred flasks, four kilns and a year of loads, and
//! how large they are. It measures and prints; what it asserts is that everything is there.
//!
//! `cargo test --release --test it -- --ignored --nocapture plan_speed::`

use std::time::Instant;

use crate::plan::{count, furnished};

/// Four hundred flasks that have set, in six alloys, due over most of a year, two kilns more, and
/// half a year of loads that were.
const FILL: &str = "
    INSERT INTO kilns (id, name, width_mm, depth_mm, height_mm, top_c, power_kw, cool_min_per_100c, turnaround_min)
      SELECT gen_random_uuid(), name || ' two', width_mm, depth_mm, height_mm, top_c, power_kw, cool_min_per_100c, turnaround_min FROM kilns;
    UPDATE studio SET ramp_limit = 4;
    INSERT INTO alloys (id, name, family, density_g_cm3, melt_c, flask_c)
      SELECT gen_random_uuid(), 'Alloy ' || n, 'silver', 10, 980, 500 + 10 * n FROM generate_series(1, 5) n;
    INSERT INTO clients (id, name, created_at) VALUES (gen_random_uuid(), 'Ada Quill', now());
    INSERT INTO files (id, sha256, name, media_type, size_bytes, created_at) VALUES (gen_random_uuid(), '\\x00', 'm.stl', 'model/stl', 0, now());
    INSERT INTO designs (id, name, created_at) VALUES (gen_random_uuid(), 'Leaf', now());
    INSERT INTO design_versions (id, design_id, n, file_id, file_name, unit, unit_origin, format, triangles, shells,
         closed, volume_mm3, area_mm2, box_x_mm, box_y_mm, box_z_mm, measured_at)
      SELECT gen_random_uuid(), d.id, 1, f.id, 'm.stl', 'mm', 'told', 'stl', 12, 1, true, 1500, 900, 20, 10, 15, now() FROM designs d, files f;
    INSERT INTO orders (id, client_id, title, state, due_on, created_at, agreed_at)
      SELECT gen_random_uuid(), c.id, 'Order ' || n, 'agreed', date '2026-12-10' + (n * 3 / 4), timestamptz '2026-11-20', timestamptz '2026-11-20'
      FROM clients c, generate_series(1, 400) n;
    INSERT INTO order_lines (id, order_id, n, design_version_id, alloy_id, quantity, finishing_minutes)
      SELECT gen_random_uuid(), o.id, 1, v.id, (SELECT id FROM alloys ORDER BY name LIMIT 1), 1, 45 FROM orders o, design_versions v;
    INSERT INTO pieces (id, order_id, order_line_id, n, label, stage, standing, created_at, changed_at)
      SELECT gen_random_uuid(), o.id, l.id, 1, o.number || '-1', 'burnout', 'waiting', now(), now() FROM orders o JOIN order_lines l ON l.order_id = o.id;
    INSERT INTO attempts (id, piece_id, n, begun_at) SELECT gen_random_uuid(), id, 1, now() FROM pieces;
    WITH numbered AS (SELECT id, row_number() OVER (ORDER BY name) - 1 AS n, count(*) OVER () AS total FROM alloys),
         kinds AS (SELECT id, row_number() OVER (ORDER BY diameter_mm) - 1 AS n FROM flask_types)
    INSERT INTO flasks (id, flask_type_id, alloy_id, investment_id, family_id, flask_c, created_at, state,
         tree_mass_g, base_mass_g, charge_g, powder_g, water_g, mixed_at, set_from_at, latest_start_at)
      SELECT gen_random_uuid(), k.id, a.id, i.id, b.id, 520, timestamptz '2026-11-24', 'setting', 80, 50, 200, 900, 360,
             timestamptz '2026-11-25 05:00', timestamptz '2026-11-25 07:00', timestamptz '2026-11-27 07:00'
      FROM generate_series(1, 400) AS g (g) JOIN kinds k ON k.n = g % 3 JOIN numbered a ON a.n = g % a.total, investments i, burnout_families b WHERE b.name = 'Resin';
    INSERT INTO flask_pieces (flask_id, attempt_id)
      SELECT f.id, t.id FROM (SELECT id, row_number() OVER (ORDER BY number) AS n FROM flasks) f
      JOIN (SELECT t.id, row_number() OVER (ORDER BY p.label) AS n FROM attempts t JOIN pieces p ON p.id = t.piece_id) t USING (n);
    ANALYZE;";

#[tokio::test(flavor = "multi_thread")]
#[ignore = "measures; takes a minute"]
async fn four_hundred_flasks_and_a_year() {
    let (studio, owner) = furnished().await;
    sqlx::raw_sql(FILL).execute(&studio.db.pool).await.unwrap();
    assert_eq!(count(&studio, "SELECT count(*) FROM flasks WHERE state = 'setting'").await, 400);
    let seconds = std::env::var("SECONDS").unwrap_or_else(|_| "20".to_owned());
    let begun = Instant::now();
    owner.post("/plan/propose", &[("seconds", &seconds)]).await.led_to();
    while count(&studio, "SELECT count(*) FROM plans WHERE state = 'computing'").await > 0 {
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    let (loads, pours, unplanned, end): (i32, i32, i32, i64) = sqlx::query_as(
        "SELECT jsonb_array_length(result -> 'loads'), jsonb_array_length(result -> 'pours'), jsonb_array_length(result -> 'unplanned'),
                (result -> 'objective' ->> 'makespan_min')::bigint FROM plans",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    eprintln!(
        "planned in {:.1} s: {loads} loads, {pours} pours, {unplanned} left out, last pour on day {}",
        begun.elapsed().as_secs_f64(),
        end / 1440
    );
    assert_eq!(pours + unplanned, 400);
    measure(&owner, "proposed").await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    measure(&owner, "accepted").await;
    let page = owner.get("/plan").await;
    assert!(page.page().contains("of 400 flasks"));
}

#[allow(clippy::print_stderr, reason = "what is measured is printed")]
async fn measure(owner: &crate::support::studio::Actor, what: &str) {
    for path in ["/plan", "/plan?week=2026-12-14", "/plan?waiting=7", "/plan/year", "/presence"] {
        let first = Instant::now();
        let size = owner.get(path).await.page().len();
        let first = first.elapsed().as_secs_f64() * 1000.0;
        let mut times = Vec::new();
        for _ in 0..100 {
            let begun = Instant::now();
            owner.get(path).await.page();
            times.push(begun.elapsed().as_secs_f64() * 1000.0);
        }
        times.sort_by(f64::total_cmp);
        eprintln!(
            "{what} {path}: {size} bytes, first {first:.0} ms, then median {:.1} ms, p95 {:.1} ms of 100",
            times[50], times[94]
        );
    }
}
