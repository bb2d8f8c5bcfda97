//! How long the ledger takes with a million postings, and a price that is turned. It measures and
//! prints; what it asserts is that the figures are right.
//!
//! `cargo test --release --test it -- --ignored --nocapture metal_speed::`

use std::time::Instant;

use crate::support::builders_orders::{ready_to_price, turned};
use crate::support::studio::Studio;

/// Five hundred thousand entries of two postings each, over ten years, in ten alloys.
const FILL: &str = "
    SET session_replication_role = replica;
    INSERT INTO alloys (id, name, family, density_g_cm3, melt_c, flask_c)
      SELECT gen_random_uuid(), 'Alloy ' || n, 'silver', 10, 980, 550 FROM generate_series(1, 10) n;
    INSERT INTO metal_accounts (id, kind, alloy_id)
      SELECT gen_random_uuid(), k, a.id FROM alloys a, unnest(ARRAY['supplier', 'fresh', 'returns', 'cast', 'pieces', 'filings', 'loss', 'delivered', 'refiner', 'difference']) k;
    CREATE TEMP TABLE numbered AS SELECT id, row_number() OVER (ORDER BY alloy_id, kind) - 1 AS n FROM metal_accounts;
    CREATE TEMP TABLE entries AS
      SELECT n, gen_random_uuid() AS id, timestamptz '2016-12-01' + n * interval '10 minutes 30 seconds' AS at FROM generate_series(1, 500000) n;
    INSERT INTO metal_batches (id, kind, at, subject) SELECT id, 'poured', at, 'flask:' || n FROM entries;
    INSERT INTO metal_postings (batch_id, account_id, cg)
      SELECT e.id, a.id, side.sign * (1 + (e.n::bigint * 7919) % 5000)
      FROM entries e CROSS JOIN (VALUES (0, 1), (1, -1)) AS side (at, sign)
      JOIN numbered a ON a.n = (e.n % 10) * 10 + ((e.n / 10) % 9 + side.at);
    INSERT INTO metal_balances SELECT account_id, sum(cg) FROM metal_postings GROUP BY account_id;
    INSERT INTO metal_months SELECT p.account_id, date_trunc('month', b.at AT TIME ZONE 'UTC')::date, sum(p.cg)
      FROM metal_postings p JOIN metal_batches b ON b.id = p.batch_id GROUP BY 1, 2;
    INSERT INTO metal_days SELECT (b.at AT TIME ZONE 'UTC')::date, p.account_id, sum(p.cg)
      FROM metal_postings p JOIN metal_batches b ON b.id = p.batch_id GROUP BY 1, 2;
    SET session_replication_role = DEFAULT;
    ANALYZE;";

#[tokio::test(flavor = "multi_thread")]
#[ignore = "measures; takes a minute"]
async fn balances_of_a_million_postings() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let mut conn = studio.db.pool.acquire().await.unwrap();
    sqlx::raw_sql(FILL).execute(&mut *conn).await.unwrap();
    drop(conn);
    let count: i64 = sqlx::query_scalar("SELECT count(*) FROM metal_postings")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(count, 1_000_000);
    let alloy: String = sqlx::query_scalar("SELECT id::text FROM alloys WHERE name = 'Alloy 3'")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let paths = [
        "/metal".to_owned(),
        "/metal?on=2026-05-17".to_owned(),
        "/metal?on=2018-03-31".to_owned(),
        "/metal/entries".to_owned(),
        format!("/metal/entries?alloy={alloy}"),
        format!("/metal/entries?alloy={alloy}&account=fresh"),
        format!("/metal/entries?alloy={alloy}&account=fresh&until=2020-01-01"),
    ];
    for path in &paths {
        let mut times = Vec::new();
        for _ in 0..7 {
            let begun = Instant::now();
            owner.get(path).await.page();
            times.push(begun.elapsed().as_secs_f64() * 1000.0);
        }
        times.sort_by(f64::total_cmp);
        eprintln!("{path}: median {:.1} ms of 7, whole page", times[3]);
    }
    // The same balance from the postings themselves, the slow way.
    let wanted: Vec<(String, i64)> = sqlx::query_as(
        "SELECT l.name, sum(p.cg)::bigint FROM metal_postings p JOIN metal_batches b ON b.id = p.batch_id
         JOIN metal_accounts a ON a.id = p.account_id JOIN alloys l ON l.id = a.alloy_id
         WHERE a.kind = 'fresh' AND b.at < timestamptz '2026-05-18 00:00 Europe/Berlin' GROUP BY l.name ORDER BY l.name",
    )
    .fetch_all(&studio.db.pool)
    .await
    .unwrap();
    let page = owner.get("/metal?on=2026-05-17").await;
    for (name, cg) in wanted {
        let row = page.page().split(&format!(">{name}</a>")).nth(1).unwrap();
        let cell = row.split("</td>").nth(1).unwrap();
        let figure: String = cell
            .split("class=\"fig\">")
            .nth(1)
            .unwrap()
            .split('<')
            .next()
            .unwrap()
            .chars()
            .filter(|c| c.is_ascii_digit() || *c == '.' || *c == '\u{2212}')
            .map(|c| if c == '\u{2212}' { '-' } else { c })
            .collect();
        let shown: f64 = figure.parse().unwrap();
        assert!((shown - cg as f64 / 100.0).abs() < 0.06, "{name}: {shown} for {cg} cg");
    }
}

#[tokio::test(flavor = "multi_thread")]
#[ignore = "measures"]
async fn a_price_that_is_turned() {
    let (studio, owner, number) = ready_to_price().await;
    sqlx::query(
        "INSERT INTO order_lines (id, order_id, n, design_version_id, alloy_id, quantity, finishing_minutes)
         SELECT gen_random_uuid(), order_id, n + g, design_version_id, alloy_id, g, 10 FROM order_lines, generate_series(1, 11) g",
    )
    .execute(&studio.db.pool)
    .await
    .unwrap();
    let fields = turned(&studio, number, &[("margin_percent", "25")]).await;
    let place = format!("/orders/{number}/price/preview");
    let pairs: Vec<String> =
        fields.iter().map(|(name, value)| format!("{name}={}", value.replace(' ', "+"))).collect();
    let body = pairs.join("&");
    let mut times = Vec::new();
    for _ in 0..21 {
        let begun = Instant::now();
        let request = owner
            .request("POST", &place)
            .header("content-type", "application/x-www-form-urlencoded")
            .header("x-turning", "yes")
            .body(axum::body::Body::from(body.clone()))
            .unwrap();
        owner.send(request).await.0.page();
        times.push(begun.elapsed().as_secs_f64() * 1000.0);
    }
    times.sort_by(f64::total_cmp);
    eprintln!("what-if of twelve lines: median {:.1} ms of 21, whole page", times[10]);
}
