//! One order walks through all eleven steps: sign in, order, quote, the
//! client's yes, print, cure, invest, burnout, cast, finish, handed over.

use std::path::{Path, PathBuf};

use foundry::mesh::{Unit, write};
use foundry::shapes::Piece;
use pourday::clock::{Clock, Moment};
use pourday::server::{self, Config};
use sqlx::PgPool;

use super::driver::Browser;
use crate::support::database::TestDatabase;
use crate::support::studio::{NOW, PASSWORD, moment};

/// Serves an empty database on a free port; returns its address and the key for the first owner.
async fn serve(pool: &PgPool, clock: &Clock) -> (String, String) {
    let app = server::open(pool.clone(), clock.clone(), false).await.unwrap();
    let config = Config { listen: "127.0.0.1:0".parse().unwrap(), secure_cookies: false };
    let (told, heard) = tokio::sync::oneshot::channel();
    tokio::spawn(async move {
        let started = move |address, key: Option<String>| {
            told.send((format!("http://{address}"), key.unwrap_or_default())).unwrap();
        };
        server::serve(app, &config, std::future::pending(), started).await.unwrap();
    });
    heard.await.unwrap()
}

fn models(folder: &Path) -> Vec<PathBuf> {
    let band = Piece::ComfortBand.mesh();
    let knob = Piece::DrawerKnob.mesh();
    let files = [
        ("comfort-band.stl", write::stl_binary(&band, "band").unwrap()),
        ("drawer-knob.3mf", write::three_mf(&knob, "knob", Unit::Millimetre).unwrap()),
    ];
    files
        .into_iter()
        .map(|(name, content)| {
            let path = folder.join(name);
            std::fs::write(&path, content).unwrap();
            path
        })
        .collect()
}

async fn one<T>(pool: &PgPool, sql: &'static str) -> T
where
    T: Send + Unpin + sqlx::Type<sqlx::Postgres> + for<'r> sqlx::Decode<'r, sqlx::Postgres>,
{
    sqlx::query_scalar(sql).fetch_one(pool).await.unwrap()
}

async fn tick_all(browser: &Browser, action: &str, name: &str) {
    let script = "let n = 0; for (const box of document.querySelectorAll(`form[action='${arguments[0]}'] input[name='${arguments[1]}']`)) { if (!box.checked) box.click(); n++; } return n;";
    let n = browser.client.execute(script, vec![action.into(), name.into()]).await.unwrap();
    assert!(n.as_u64().unwrap() > 0, "there is nothing to tick in {action}");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_order_walks_from_the_model_to_the_finished_piece() {
    let db = TestDatabase::new().await;
    let pool = &db.pool;
    let clock = Clock::set_at(moment(NOW));
    let (base, key) = serve(pool, &clock).await;
    let folder = tempfile::tempdir().unwrap();
    let browser = Browser::open(&base).await;
    browser.resize(1280, 1000).await;

    // 1. The first start makes the owner; then out, and in again.
    browser.goto("/").await;
    assert_eq!(browser.path().await, "/first-owner");
    for (name, value) in [
        ("key", key.as_str()),
        ("studio", "Walk-through Castings"),
        ("name", "Hale Winter"),
        ("login", "hale"),
        ("password", PASSWORD),
        ("time_zone", "Europe/Lisbon"),
        ("currency", "EUR"),
    ] {
        browser.set("/first-owner", name, value).await;
    }
    browser.press("/first-owner").await;
    browser.goto("/people/password").await;
    browser
        .client
        .execute("document.querySelector('details.me').open = true", vec![])
        .await
        .unwrap();
    browser.press("/sign-out").await;
    sign_in(&browser).await;
    furnish(pool, &clock).await;
    browser.goto("/studio/alloys/new?from=sterling-silver").await;
    browser.set("/studio/alloys", "name", "Sterling silver").await;
    browser.set("/studio/alloys", "melt_c", "970").await;
    browser.set("/studio/alloys", "flask_c", "520").await;
    browser.press("/studio/alloys").await;
    browser.see("Sterling silver").await;
    price_and_stock(pool, &clock).await;

    // 2. A new client, a new order, model files dropped in; the weight opens into its working.
    browser.goto("/orders/new").await;
    browser.set("/orders/new", "title", "Two bands and a knob").await;
    browser.set("/orders/new", "new_client", "Juno Bexley").await;
    let paths: Vec<String> =
        models(folder.path()).iter().map(|path| path.display().to_string()).collect();
    browser.set("/orders/new", "models", &paths.join("\n")).await;
    browser.set("/orders/new", "quantity", "2").await;
    browser.press("/orders/new").await;
    let order = browser.path().await;
    assert_eq!(order, "/orders/1001");
    browser.see("Comfort band").await;
    browser.see("Drawer knob").await;
    browser.unfold().await;
    browser.see("density").await;
    browser.picture("02-order").await;

    // 3. Priced and sent.
    browser.goto("/orders/1001/price").await;
    browser.picture("03-price").await;
    browser.press("/orders/1001/price").await;
    let quote = browser.path().await;
    browser.picture("03-quote").await;
    browser.press(&format!("{quote}/send")).await;
    browser.goto("/orders/1001/quotes").await;
    let page = browser.client.source().await.unwrap();
    let from = page.find("/c/").expect("the quotes page shows the client's link");
    let link: String =
        page[from..].chars().take_while(|c| !matches!(c, '"' | '<' | ' ' | '\n')).collect();

    // 4. The client says yes on a phone, without an account.
    browser.client.delete_all_cookies().await.unwrap();
    browser.resize(390, 844).await;
    browser.goto(&link).await;
    browser.picture("04-client-quote").await;
    browser.set(&format!("{link}/yes"), "name", "Juno Bexley").await;
    browser.press(&format!("{link}/yes")).await;
    browser.picture("04-client-agreed").await;
    assert_eq!(one::<i64>(pool, "SELECT count(*) FROM pieces").await, 4);
    browser.goto("/orders/1001").await;
    assert_eq!(browser.path().await, "/sign-in", "a client's link opens nothing else");

    // 5. Print: one piece fails, its next attempt is queued by itself.
    sign_in(&browser).await;
    browser.resize(1280, 1000).await;
    browser.goto("/plates/new").await;
    tick_all(&browser, "/plates", "pieces").await;
    browser.press("/plates").await;
    let plate = browser.path().await;
    browser.picture("05-plate").await;
    browser.press(&format!("{plate}/start")).await;
    clock.set(clock.now().plus_minutes(300));
    browser.goto(&plate).await;
    let failing: String = one(
        pool,
        "SELECT t.id::text FROM attempts t JOIN pieces p ON p.id = t.piece_id WHERE p.label = '1001-4'",
    )
    .await;
    let finish = format!("{plate}/finish");
    browser
        .find(&format!("form[action='{finish}'] input[name='failed'][value='{failing}']"))
        .await
        .click()
        .await
        .unwrap();
    browser.set(&finish, &format!("cause-{failing}"), "delaminated").await;
    browser.press(&finish).await;
    browser.goto("/pieces/1001-4").await;
    browser.see("delaminated").await;
    browser.picture("05-failed-piece").await;
    assert_eq!(one::<i32>(pool, "SELECT attempt_n FROM pieces WHERE label = '1001-4'").await, 2);

    // 6. Wash and cure, with a clock that survives a reload.
    browser.goto("/cure/new").await;
    tick_all(&browser, "/cure", "pieces").await;
    browser.press("/cure").await;
    let batch = browser.path().await;
    browser.press(&format!("{batch}/begin")).await;
    browser.client.refresh().await.unwrap();
    browser.picture("06-washing").await;
    clock.set(clock.now().plus_minutes(10));
    browser.goto(&batch).await;
    browser.press(&format!("{batch}/washed")).await;
    clock.set(clock.now().plus_minutes(60));
    browser.goto(&batch).await;
    browser.press(&format!("{batch}/finish")).await;

    // 7. Onto a tree, weighed, mixed, set.
    browser.goto("/flasks/new").await;
    tick_all(&browser, "/flasks", "piece").await;
    let large: String = one(pool, "SELECT id::text FROM flask_types WHERE name = 'Middle'").await;
    browser.set("/flasks", "flask_type", &large).await;
    browser.press("/flasks").await;
    let flask = browser.path().await;
    assert_eq!(flask, "/flasks/201");
    browser.set("/flasks/201/weigh", "base_mass_g", "48.3").await;
    browser.set("/flasks/201/weigh", "tree_mass_g", "78.9").await;
    browser.press_surely("/flasks/201/weigh").await;
    browser.see("Charge").await;
    browser.picture("07-weighed").await;
    browser.press("/flasks/201/mix").await;
    browser.picture("07-mixing-clock").await;
    clock.set(clock.now().plus_minutes(10));
    browser.goto(&flask).await;
    browser.press("/flasks/201/set").await;
    browser.see("Leave it standing").await;

    // 8. Burnout: planned, changed by hand, accepted, fired, held.
    clock.set(moment("2026-11-26T09:00:00Z"));
    browser.goto("/plan").await;
    browser.press("/plan/propose").await;
    browser.wait_for("Accept this plan").await;
    browser.picture("08-proposal").await;
    browser.unfold().await;
    let small: String = one(pool, "SELECT id::text FROM kilns WHERE name = 'Small kiln'").await;
    let big: String = one(pool, "SELECT id::text FROM kilns WHERE name = 'Big kiln'").await;
    browser.set("/plan/forbid", "kiln", &small).await;
    browser.set("/plan/forbid", "until", "2026-11-27").await;
    browser.press("/plan/forbid").await;
    browser.see("Small kiln is not used until").await;
    browser.unfold().await;
    browser.set("/plan/pin", "kiln", &big).await;
    let script = "arguments[0].value = '2026-11-26T16:30'";
    let start = browser.find("form[action='/plan/pin'] [name='start']").await;
    browser.client.execute(script, vec![serde_json::to_value(&start).unwrap()]).await.unwrap();
    browser.press("/plan/pin").await;
    browser.see("stays in Big kiln").await;
    browser.press("/plan/propose").await;
    browser.wait_for("Accept this plan").await;
    browser.press("/plan/accept").await;
    browser.see("Load 81").await;
    let (starts, held): (Moment, Moment) = sqlx::query_as(
        "SELECT planned_start_at, planned_held_at FROM kiln_loads WHERE state = 'planned'",
    )
    .fetch_one(pool)
    .await
    .unwrap();
    assert_eq!(starts, moment("2026-11-26T16:30:00Z"), "the pin was kept");
    browser.picture("08-accepted").await;
    clock.set(starts.plus_minutes(15));
    browser.goto("/loads/81").await;
    browser.set("/loads/81/start", "read_back", "yes").await;
    browser.press("/loads/81/start").await;
    browser.picture("08-burning").await;
    clock.set(held);
    browser.goto("/loads/81").await;
    browser.press("/loads/81/hold").await;

    // 9. Cast: from the pour sheet; the ledger moves.
    let pour_at: Moment = one(pool, "SELECT planned_pour_at FROM kiln_load_flasks").await;
    clock.set(pour_at);
    browser.goto("/pours").await;
    browser.picture("09-pour-sheet").await;
    browser.press("/pours/201").await;
    let poured: i64 = one(pool, "SELECT fresh_cg + returns_cg FROM pours").await;
    let in_cast: i64 = one(
        pool,
        "SELECT b.cg FROM metal_balances b JOIN metal_accounts a ON a.id = b.account_id WHERE a.kind = 'cast'",
    )
    .await;
    assert_eq!(poured, in_cast);

    // 10. Divested, finished, passed, ready, handed over.
    clock.set(pour_at.plus_minutes(60));
    browser.goto(&flask).await;
    let grams = |cg: i64| format!("{}.{:02}", cg / 100, cg % 100);
    browser.set("/flasks/201/divest", "pieces_g", &grams(poured * 6 / 10)).await;
    browser.set("/flasks/201/divest", "returns_g", &grams(poured * 3 / 10)).await;
    browser.press_surely("/flasks/201/divest").await;
    for label in ["1001-1", "1001-2", "1001-3"] {
        let page = format!("/finishing/{label}");
        browser.goto(&page).await;
        browser.set(&format!("{page}/begin"), "raw", "8.40").await;
        browser.press_surely(&format!("{page}/begin")).await;
        clock.set(clock.now().plus_minutes(30));
        browser.goto(&page).await;
        browser.set(&format!("{page}/pass"), "finished", "8.10").await;
        browser.set(&format!("{page}/pass"), "minutes", "30").await;
        browser.press_surely(&format!("{page}/pass")).await;
    }
    browser.goto("/orders/1001").await;
    browser.picture("10-order").await;
    browser.press("/orders/1001/hand-over").await;
    let given: i64 = one(pool, "SELECT count(*) FROM pieces WHERE standing = 'handed_over'").await;
    assert_eq!(given, 3);
    browser.client.delete_all_cookies().await.unwrap();
    browser.resize(390, 844).await;
    browser.goto(&link).await;
    browser.picture("10-client").await;

    // 11. Where is each piece, what is next, what is late.
    sign_in(&browser).await;
    browser.goto("/").await;
    browser.see("1001-4").await;
    browser.picture("11-today-phone").await;
    browser.resize(1280, 1000).await;
    browser.goto("/").await;
    browser.see("Next").await;
    browser.picture("11-today").await;
    let unbalanced: i64 = one(
        pool,
        "SELECT count(*) FROM (SELECT a.alloy_id FROM metal_postings p JOIN metal_accounts a ON a.id = p.account_id
         GROUP BY a.alloy_id HAVING sum(p.cg) <> 0) uneven",
    )
    .await;
    assert_eq!(unbalanced, 0);
}

async fn sign_in(browser: &Browser) {
    browser.goto("/sign-in").await;
    browser.set("/sign-in", "login", "hale").await;
    browser.set("/sign-in", "password", PASSWORD).await;
    browser.press("/sign-in").await;
}

/// Machines and materials: the demo's workshop.
async fn furnish(pool: &PgPool, clock: &Clock) {
    sqlx::raw_sql(include_str!("../../../src/demo/workshop.sql")).execute(pool).await.unwrap();
    sqlx::query(
        "INSERT INTO resin_lots (id, resin_id, lot, opened_on, volume_ml)
         SELECT gen_random_uuid(), id, 'W-1', $1::date, 1000 FROM resins",
    )
    .bind(clock.now())
    .execute(pool)
    .await
    .unwrap();
}

/// Prices of everything, and silver to melt.
async fn price_and_stock(pool: &PgPool, clock: &Clock) {
    sqlx::query(
        "INSERT INTO prices (id, kind, item, unit, amount, currency, valid_from, noted_at)
         SELECT gen_random_uuid(), 'resin', id::text, 'ml', 0.19, 'EUR', date '2026-11-01', $1 FROM resins
         UNION ALL SELECT gen_random_uuid(), 'investment', id::text, 'kg', 2.4, 'EUR', date '2026-11-01', $1 FROM investments
         UNION ALL SELECT gen_random_uuid(), 'electricity', '', 'kWh', 0.24, 'EUR', date '2026-11-01', $1
         UNION ALL SELECT gen_random_uuid(), 'alloy', id::text, 'g', 1.06, 'EUR', date '2026-11-01', $1 FROM alloys",
    )
    .bind(clock.now())
    .execute(pool)
    .await
    .unwrap();
    use pourday::metal::{Account, Entry, Kind, Move, post};
    let alloy = one(pool, "SELECT id FROM alloys").await;
    let mut tx = pool.begin().await.unwrap();
    let entry = Entry::new(Kind::Bought, clock.now(), None, "lot:W-1");
    post(&mut tx, &entry, alloy, &[Move::new(Account::Supplier, Account::Fresh, 200_000)])
        .await
        .unwrap();
    tx.commit().await.unwrap();
}
