//! How long the bench's pages take in a studio that has made a hundred thousand pieces. It measures
//! and prints; what it asserts is that each page shows what it is for.
//!
//! `cargo test --test it -- --ignored --nocapture bench_speed::`

use std::time::{Duration, Instant};

use crate::support::studio::Studio;

/// A page, and a word that stands on it when it has something to show.
const PAGES: [(&str, &str); 53] = [
    ("/now", "Weigh and finish"),
    ("/", "Finish"),
    ("/pieces", "Design"),
    ("/pieces?standing=all", "Design"),
    ("/pieces?standing=all&last=yes", "Design"),
    // Half-way through five years, and far down among those being made.
    (
        "/pieces?standing=all&after=1717200000000000~00000000-0000-0000-0000-000000000000&row=50000",
        "Design",
    ),
    (
        "/pieces?standing=all&before=1717200000000000~00000000-0000-0000-0000-000000000000&row=50000",
        "Design",
    ),
    ("/pieces?after=9800~29950~1&row=800", "Design"),
    ("/pieces?standing=handed_over&last=yes", "Design"),
    ("/pieces?standing=cancelled", "No piece answers"),
    ("/pieces?standing=all&search=Design+17", "Design 17"),
    ("/pieces?standing=all&search=10017-3", "10017-3"),
    ("/pieces?stage=finish&standing=waiting", "Design"),
    ("/pieces?search=Client+17", "Client 17"),
    ("/pieces/{piece}", "Design"),
    ("/pieces/{piece}/rework", "median of 200"),
    ("/pieces/{piece}/findings", "findings"),
    ("/plates", "plate"),
    ("/plates?show=ended", "plate"),
    ("/plates?show=ended&last=yes", "plate"),
    ("/plates/new", "Client"),
    ("/plates/5000", "5000"),
    ("/cure", "cure"),
    ("/cure?show=ended", "cure"),
    ("/cure?show=ended&last=yes", "cure"),
    ("/cure/new", "Client"),
    ("/cure/3000", "3000"),
    ("/flasks", "flask"),
    ("/flasks?show=old", "flask"),
    ("/flasks?show=old&last=yes", "flask"),
    ("/flasks/new", "Client"),
    ("/flasks/6000", "6000"),
    ("/loads/1500", "1500"),
    ("/pours", "Pour"),
    ("/loads?show=old&last=yes", "load"),
    ("/pours/done", "Alloy"),
    ("/pours/done?last=yes", "Alloy"),
    ("/orders", "Order of"),
    ("/orders?state=all", "Order of"),
    ("/orders?state=all&last=yes", "Order of"),
    ("/orders?state=all&search=Client+17", "Client 17"),
    ("/designs", "Design"),
    ("/designs?last=yes", "Design"),
    ("/clients", "Client"),
    ("/finishing", "/finishing/"),
    ("/finishing/{piece}", "Design"),
    ("/timers", "Cure"),
    ("/steps/print/5000", "Vat and film"),
    ("/yields", "What works"),
    ("/yields?stage=cast&by=print-vat-film", "clouded"),
    ("/estimates", "Take it over"),
    ("/trials", "rial"),
    ("/forecasts", "castings by how hard they were"),
];

#[tokio::test(flavor = "multi_thread")]
#[ignore = "measures; fills a hundred thousand pieces first, which takes minutes"]
async fn pages_of_the_bench_with_a_hundred_thousand_pieces() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let mut conn = studio.db.pool.acquire().await.unwrap();
    sqlx::query("SET statement_timeout = 0").execute(&mut *conn).await.unwrap();
    for sql in [include_str!("../../src/demo/workshop.sql"), include_str!("bench_speed.sql")] {
        sqlx::raw_sql(sql).execute(&mut *conn).await.unwrap();
    }
    conn.close().await.unwrap();
    let pool = &studio.db.pool;
    let pieces: i64 =
        sqlx::query_scalar("SELECT count(*) FROM pieces").fetch_one(pool).await.unwrap();
    assert_eq!(pieces, 100_000);
    // The days of five years are counted once, while pages go on, as a server does it.
    let begun = Instant::now();
    owner.get("/yields").await.page();
    eprintln!("/yields, nothing counted yet: {:.1} ms", begun.elapsed().as_secs_f64() * 1000.0);
    let counting = tokio::spawn(pourday::yields::keep_counted(studio.app.clone()));
    while sqlx::query_scalar("SELECT EXISTS (SELECT 1 FROM yield_marks)")
        .fetch_one(pool)
        .await
        .unwrap()
    {
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    counting.abort();
    eprintln!("all days counted after {:.0} s", begun.elapsed().as_secs_f64());
    sqlx::query("VACUUM ANALYZE yield_counts").execute(pool).await.unwrap();
    let piece: String = sqlx::query_scalar(
        "SELECT label FROM pieces WHERE stage = 'finish' AND standing = 'waiting' ORDER BY label LIMIT 1",
    )
    .fetch_one(pool)
    .await
    .unwrap();
    for (path, word) in PAGES {
        let path = path.replace("{piece}", &piece);
        let mut times = Vec::new();
        let mut bytes = 0;
        // As just after a tap at the bench: the day has to be counted again.
        let marked = path.starts_with("/yields");
        let since = Instant::now();
        while times.len() < 25 && since.elapsed() < Duration::from_secs(20) {
            if marked {
                sqlx::query("INSERT INTO yield_marks VALUES ('2026-11-25')")
                    .execute(pool)
                    .await
                    .unwrap();
            }
            let begun = Instant::now();
            let answer = owner.get(&path).await;
            times.push(begun.elapsed().as_secs_f64() * 1000.0);
            assert!(answer.page().contains(word), "{path} shows {word}: {}", answer.body);
            bytes = answer.body.len();
        }
        times.sort_by(f64::total_cmp);
        let at = |share: f64| times[((times.len() - 1) as f64 * share).round() as usize];
        eprintln!("{path:45} p50 {:6.1}  p95 {:6.1} ms, {:4} kB", at(0.5), at(0.95), bytes / 1000);
    }
}
