//! Every stage on a phone, with the network cut in the middle and back again.

use pourday::clock::Moment;
use pourday::id::AlloyId;
use pourday::metal::{self, Account, Entry, Kind, Move};
use pourday::pieces::{self, Act, Happening, Stage};
use uuid::Uuid;

use super::bench::{Line, phone, until};
use super::driver::Browser;
use crate::support::studio::Studio;

/// A studio on a line that can be cut, with pieces that wait for a stage, and a maker's phone.
pub(super) async fn bench(pieces: i32, stage: Stage) -> (Studio, Vec<String>, Line, Browser) {
    let studio = Studio::with_workshop().await;
    studio.maker().await;
    let labels = studio.pieces(pieces, Some("2026-12-20")).await;
    for label in &labels {
        studio.bring_to(label, stage).await;
    }
    let line = Line::to(&studio).await;
    let phone = phone(&line.base, "maker").await;
    (studio, labels, line, phone)
}

/// Presses a button while there is no network, sees that it is kept, and mends the line.
async fn kept_and_sent(phone: &Browser, line: &Line, action: &str) {
    phone.press(action).await;
    phone.wait_for("not sent yet").await;
    line.mend();
}

/// A load with one flask in it; its number.
pub(super) async fn load(studio: &Studio, flask: i32, state: &str) -> i32 {
    let now = studio.clock.now();
    let id = Uuid::now_v7();
    let begun: Option<Moment> = (state != "planned").then(|| now.plus_minutes(-600));
    let number: i32 = sqlx::query_scalar(
        "INSERT INTO kiln_loads (id, kiln_id, state, family_id, size_class, programme, planned_start_at, planned_held_at, started_at, held_at)
         SELECT $1, k.id, $2, f.id, 'M', '[{\"kind\":\"ramp\",\"target_c\":730,\"minutes\":240},{\"kind\":\"ramp\",\"target_c\":520,\"minutes\":60}]',
                $3, $3 + interval '5 hours', $4, CASE WHEN $2 = 'held' THEN $3 - interval '1 hour' END
         FROM kilns k, burnout_families f WHERE k.name = 'Big kiln' AND f.name = 'Resin' RETURNING number",
    )
    .bind(id)
    .bind(state)
    .bind(now)
    .bind(begun)
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    sqlx::query(
        "INSERT INTO kiln_load_flasks (kiln_load_id, flask_id, x_mm, y_mm, planned_pour_at)
         SELECT $1, id, 100, 100, $3 FROM flasks WHERE number = $2",
    )
    .bind(id)
    .bind(flask)
    .bind(now.plus_minutes(300))
    .execute(&studio.db.pool)
    .await
    .unwrap();
    number
}

/// Metal that the ledger has.
pub(super) async fn in_stock(studio: &Studio, alloy: AlloyId, account: Account, cg: i64) {
    let mut tx = studio.db.pool.begin().await.unwrap();
    let entry = Entry::new(Kind::Bought, studio.clock.now(), None, "test");
    let moves = [Move::new(Account::Supplier, account, cg)];
    metal::post(&mut tx, &entry, alloy, &moves).await.unwrap();
    tx.commit().await.unwrap();
}

async fn count(studio: &Studio, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(&studio.db.pool).await.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn cure_and_its_steps_go_on_without_a_network() {
    let (studio, labels, line, phone) = bench(2, Stage::Cure).await;
    let maker = studio.owner().await;
    let mut form = vec![
        ("wash", "isopropyl alcohol".to_owned()),
        ("wash_minutes", "6".to_owned()),
        ("medium", "glycerin".to_owned()),
        ("cure_minutes", "30".to_owned()),
    ];
    for label in &labels {
        form.push(("pieces", studio.attempt_of(label).await.to_string()));
    }
    let form: Vec<(&str, &str)> =
        form.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let place = maker.post("/cure", &form).await.led_to().to_owned();
    let number = place.rsplit('/').next().unwrap().to_owned();
    phone.goto(&place).await;
    phone.press(&format!("{place}/begin")).await;
    until(&studio, &labels[0], ("cure", "in_hand")).await;
    phone.goto(&place).await;
    phone.see("First wash, in solvent").await;
    phone.picture("stage-cure").await;

    studio.clock.set(studio.clock.now().plus_minutes(30));
    line.cut();
    phone.press(&format!("/steps/cure/{number}/rinsed")).await;
    phone.wait_for("1 step is not sent yet").await;
    kept_and_sent(&phone, &line, &format!("{place}/washed")).await;
    for _ in 0..300 {
        let curing = "SELECT count(*) FROM cure_batches WHERE state = 'curing'";
        if count(&studio, curing).await == 1 {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    assert_eq!(count(&studio, "SELECT count(*) FROM cure_batches WHERE state = 'curing'").await, 1);
    assert_eq!(count(&studio, "SELECT count(*) FROM bench_steps WHERE step = 'rinsed'").await, 1);
    studio.clock.set(studio.clock.now().plus_minutes(120));
    phone.goto(&place).await;
    phone.press(&format!("{place}/finish")).await;
    until(&studio, &labels[1], ("invest", "waiting")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_is_invested_fired_and_poured_though_the_network_is_lost_each_time() {
    let (studio, labels, line, phone) = bench(3, Stage::Invest).await;
    let now = studio.clock.now();
    let mut conn = studio.db.pool.acquire().await.unwrap();
    let alloy: AlloyId =
        sqlx::query_scalar("SELECT alloy_id FROM order_lines").fetch_one(&mut *conn).await.unwrap();
    in_stock(&studio, alloy, Account::Fresh, 100_000).await;

    // Invest: the powder goes in, the flask is filled.
    let invested = studio.flask(&labels[..1], "weighed").await;
    let piece = sqlx::query_scalar("SELECT id FROM pieces WHERE label = $1")
        .bind(&labels[0])
        .fetch_one(&mut *conn)
        .await
        .unwrap();
    let act = Act::new(now, None);
    pieces::record(&mut conn, &[piece], &Happening::Entered(Stage::Invest), &act).await.unwrap();
    let place = format!("/flasks/{invested}");
    phone.goto(&place).await;
    phone.see("Respirator on").await;
    phone.picture("stage-invest").await;
    line.cut();
    kept_and_sent(&phone, &line, &format!("{place}/mix")).await;
    phone.wait_for("being invested").await;
    phone.goto(&place).await;
    phone.press(&format!("{place}/set")).await;
    until(&studio, &labels[0], ("burnout", "waiting")).await;

    // Burnout: loaded and started after the controller was read back.
    studio.bring_to_from(&labels[1], Stage::Invest, Stage::Burnout).await;
    let fired = studio.flask(&labels[1..2], "setting").await;
    let number = load(&studio, fired, "planned").await;
    let place = format!("/loads/{number}");
    phone.goto(&place).await;
    phone.set(&format!("{place}/start"), "read_back", "yes").await;
    phone.picture("stage-burnout").await;
    line.cut();
    kept_and_sent(&phone, &line, &format!("{place}/start")).await;
    until(&studio, &labels[1], ("burnout", "in_hand")).await;
    // Its kiln is needed for the next.
    sqlx::query("UPDATE kiln_loads SET state = 'held', held_at = started_at")
        .execute(&mut *conn)
        .await
        .unwrap();
    sqlx::query("UPDATE kiln_loads SET state = 'ended', ended_at = held_at")
        .execute(&mut *conn)
        .await
        .unwrap();

    // Cast: a hot flask is poured.
    studio.bring_to_from(&labels[2], Stage::Invest, Stage::Cast).await;
    let hot = studio.flask(&labels[2..], "hot").await;
    load(&studio, hot, "held").await;
    phone.goto("/pours").await;
    phone.unfold().await;
    let pour = format!("/pours/{hot}");
    phone.set(&pour, "fresh_g", "200").await;
    phone.set(&pour, "cover", "charcoal").await;
    phone.picture("stage-cast").await;
    line.cut();
    kept_and_sent(&phone, &line, &pour).await;
    until(&studio, &labels[2], ("finish", "waiting")).await;
    let poured = "SELECT count(*) FROM pours WHERE fresh_cg = 20000 AND cover = 'charcoal'";
    assert_eq!(count(&studio, poured).await, 1, "once");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_piece_is_finished_without_a_network_and_the_other_phone_sees_it() {
    let (studio, labels, line, phone) = bench(1, Stage::Finish).await;
    studio.owner().await;
    let label = &labels[0];
    let place = format!("/finishing/{label}");
    let alloy: AlloyId = sqlx::query_scalar("SELECT alloy_id FROM order_lines")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    in_stock(&studio, alloy, Account::Pieces, 2_000).await;
    phone.goto(&place).await;
    phone.set(&format!("{place}/begin"), "raw", "15.60").await;
    phone.press(&format!("{place}/begin")).await;
    until(&studio, label, ("finish", "in_hand")).await;
    let other = super::bench::phone(&line.base, "owner").await;
    phone.goto(&place).await;
    phone.unfold().await;
    let polished = format!("/steps/finish/{label}/polished");
    phone.set(&polished, "minutes", "12").await;
    phone.press(&polished).await;
    other.goto(&place).await;
    other.wait_for("Take back").await;
    phone.goto(&place).await;
    phone.set(&format!("{place}/pass"), "finished", "14.90").await;
    phone.picture("stage-finish").await;
    line.cut();
    kept_and_sent(&phone, &line, &format!("{place}/pass")).await;
    until(&studio, label, ("finish", "ready")).await;
    other.wait_for("is ready").await;
    let minutes = "SELECT count(*) FROM finishing WHERE minutes = 12 AND finished_cg = 1490";
    assert_eq!(count(&studio, minutes).await, 1, "the minutes of its task");
}
