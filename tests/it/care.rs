//! What was recorded by mistake comes back whole, and what can hardly be is asked once more.

use axum::http::StatusCode;
use pourday::metal::{Account, held};
use pourday::pieces::Stage;

use crate::support::hot::pour;
use crate::support::studio::{Actor, Studio};

async fn workshop() -> (Studio, Actor) {
    let studio = Studio::with_workshop().await;
    let owner = studio.owner().await;
    (studio, owner)
}

async fn one<T>(studio: &Studio, sql: &'static str, flask: i32) -> T
where
    T: Send + Unpin,
    (T,): for<'r> sqlx::FromRow<'r, sqlx::postgres::PgRow>,
{
    sqlx::query_scalar(sql).bind(flask).fetch_one(&studio.db.pool).await.unwrap()
}

async fn flask_version(studio: &Studio, flask: i32) -> String {
    one::<i64>(studio, "SELECT version FROM flasks WHERE number = $1", flask).await.to_string()
}

async fn flask_state(studio: &Studio, flask: i32) -> String {
    one(studio, "SELECT state FROM flasks WHERE number = $1", flask).await
}

/// Posts to a flask's page with the version that it has.
async fn tell(
    studio: &Studio,
    actor: &Actor,
    flask: i32,
    what: &str,
    more: &[(&str, &str)],
) -> crate::support::studio::Answer {
    let version = flask_version(studio, flask).await;
    let mut fields = vec![("version", version.as_str())];
    fields.extend_from_slice(more);
    actor.post(what, &fields).await
}

async fn buy(owner: &Actor, alloy: pourday::id::AlloyId, grams: &str) {
    let alloy = alloy.to_string();
    let fields =
        [("alloy", alloy.as_str()), ("lot", "K-1"), ("grams", grams), ("bought_on", "2026-11-20")];
    owner.post("/metal/buy", &fields).await.led_to();
}

/// A load that is planned, with a flask in a place.
async fn planned(studio: &Studio, flask: i32, at_mm: f64) {
    sqlx::query(
        "WITH l AS (INSERT INTO kiln_loads (id, kiln_id, state, family_id, size_class, programme, planned_start_at, planned_held_at)
             SELECT gen_random_uuid(), k.id, 'planned', f.id, 'M', '[{\"kind\":\"ramp\",\"target_c\":730,\"minutes\":720}]', $2, $2
             FROM kilns k, burnout_families f WHERE k.name = 'Big kiln' AND f.name = 'Resin' RETURNING id)
         INSERT INTO kiln_load_flasks (kiln_load_id, flask_id, x_mm, y_mm, planned_pour_at)
         SELECT l.id, f.id, $3, 100, $2 FROM l, flasks f WHERE f.number = $1",
    )
    .bind(flask)
    .bind(studio.clock.now().plus_minutes(600))
    .bind(at_mm)
    .execute(&studio.db.pool)
    .await
    .unwrap();
}

const IN_LOAD: &str =
    "SELECT EXISTS (SELECT 1 FROM kiln_load_flasks lf JOIN flasks f ON f.id = lf.flask_id
     WHERE f.number = $1 AND lf.left_at IS NULL)";

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_that_is_not_lost_comes_back_with_its_place_and_its_pieces() {
    let (studio, owner) = workshop().await;
    let labels = studio.pieces(2, None).await;
    for label in &labels {
        studio.bring_to(label, Stage::Burnout).await;
    }
    let flask = studio.flask(&labels, "setting").await;
    planned(&studio, flask, 100.0).await;
    let place = format!("/flasks/{flask}");
    let page = owner.get(&place).await;
    let lost = page.page().split("id=\"lost\"").nth(1).unwrap();
    assert!(
        lost.contains("<option value=\"\" selected>choose</option>"),
        "no cause is chosen beforehand"
    );
    let silent = tell(&studio, &owner, flask, &format!("{place}/lost"), &[("cause", "")]).await;
    assert_eq!(silent.status, StatusCode::UNPROCESSABLE_ENTITY);

    let cause = [("cause", "mould cracked")];
    tell(&studio, &owner, flask, &format!("{place}/lost"), &cause).await.led_to();
    assert_eq!(studio.state_of(&labels[0]).await, ("print".into(), "waiting".into(), 2));
    let filed: String = sqlx::query_scalar(
        "SELECT DISTINCT failed_at_stage::text FROM attempts WHERE outcome = 'failed'",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    assert_eq!(filed, "invest", "it was lost in its bench set");
    assert!(!one::<bool>(&studio, IN_LOAD, flask).await);
    let page = owner.get(&place).await;
    assert!(
        page.page().contains("It is not lost")
            && page.body.contains("<span class=\"soft\">lost</span>")
    );

    // One of its pieces alone does not come back.
    let seen = studio.version_of(&labels[0]).await;
    let alone = owner.post(&format!("/pieces/{}/undo", labels[0]), &[("version", &seen)]).await;
    assert_eq!(alone.status, StatusCode::CONFLICT);
    assert!(
        alone.body.contains("It is not lost") && alone.body.contains(&flask.to_string()),
        "{}",
        alone.body
    );
    assert_eq!(studio.state_of(&labels[0]).await, ("print".into(), "waiting".into(), 2));

    tell(&studio, &owner, flask, &format!("{place}/found"), &[]).await.led_to();
    assert_eq!(flask_state(&studio, flask).await, "setting");
    for label in &labels {
        assert_eq!(studio.state_of(label).await, ("burnout".into(), "waiting".into(), 1));
    }
    const INSIDE: &str = "SELECT count(*) FROM flask_pieces x JOIN flasks f ON f.id = x.flask_id
        WHERE f.number = $1 AND x.left_at IS NULL";
    assert_eq!(one::<i64>(&studio, INSIDE, flask).await, 2);
    assert!(one::<bool>(&studio, IN_LOAD, flask).await, "the load is still planned and has room");
    assert!(owner.get("/flasks").await.page().contains(&format!(">{flask}<")));

    // Another flask takes its place meanwhile: it comes back without a load.
    tell(&studio, &owner, flask, &format!("{place}/lost"), &cause).await.led_to();
    let others = studio.pieces(1, None).await;
    studio.bring_to(&others[0], Stage::Burnout).await;
    let other = studio.flask(&others, "setting").await;
    sqlx::query(
        "INSERT INTO kiln_load_flasks (kiln_load_id, flask_id, x_mm, y_mm, planned_pour_at)
         SELECT l.id, f.id, 120, 110, l.planned_held_at FROM kiln_loads l, flasks f WHERE f.number = $1",
    )
    .bind(other)
    .execute(&studio.db.pool)
    .await
    .unwrap();
    tell(&studio, &owner, flask, &format!("{place}/found"), &[]).await.led_to();
    assert_eq!(flask_state(&studio, flask).await, "setting");
    assert!(!one::<bool>(&studio, IN_LOAD, flask).await);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pour_is_taken_back_or_its_weights_corrected_and_so_is_a_divest() {
    let (studio, owner) = workshop().await;
    let pool = &studio.db.pool;
    let labels = studio.pieces(2, None).await;
    let alloy = studio.alloy_of(&labels[0]).await;
    buy(&owner, alloy, "200").await;
    let flask = studio.hot_flask(&[&labels[0], &labels[1]], 72.0).await;
    let place = format!("/pours/{flask}");
    // Poured by mistake, with one piece that failed.
    let failed: String = sqlx::query_scalar("SELECT id::text FROM pieces WHERE label = $1")
        .bind(&labels[1])
        .fetch_one(pool)
        .await
        .unwrap();
    let short = pour(&[
        ("fresh_g", "70"),
        ("result", "short"),
        ("failed", &failed),
        ("cause", "incomplete fill"),
    ]);
    owner.post(&place, &short).await.led_to();
    assert_eq!(studio.state_of(&labels[1]).await.2, 2);
    assert_eq!(held(pool, alloy, Account::Cast).await.unwrap(), 7_000);
    const LOAD: &str =
        "SELECT l.state FROM kiln_load_flasks lf JOIN kiln_loads l ON l.id = lf.kiln_load_id
        JOIN flasks f ON f.id = lf.flask_id WHERE f.number = $1";
    assert_eq!(one::<String>(&studio, LOAD, flask).await, "ended");
    tell(&studio, &owner, flask, &format!("{place}/take-back"), &[]).await.led_to();
    assert_eq!(flask_state(&studio, flask).await, "hot");
    assert_eq!(one::<String>(&studio, LOAD, flask).await, "held");
    for label in &labels {
        assert_eq!(studio.state_of(label).await, ("cast".into(), "waiting".into(), 1));
    }
    assert_eq!(held(pool, alloy, Account::Fresh).await.unwrap(), 20_000);
    assert_eq!(held(pool, alloy, Account::Cast).await.unwrap(), 0);

    // Poured in truth, but 10 g noted where 70 were poured.
    let slip = owner.post(&place, &pour(&[("fresh_g", "10")])).await;
    assert_eq!(slip.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(slip.body.contains("Expected about 72 g. Record 10 g all the same?"), "{}", slip.body);
    assert!(slip.body.contains("value=\"10\""), "what was typed is kept");
    assert_eq!(flask_state(&studio, flask).await, "hot", "nothing was recorded");
    owner.post(&place, &pour(&[("fresh_g", "10"), ("sure", "yes")])).await.led_to();
    let right = [("was_fresh_g", "70"), ("correcting", "yes")];
    tell(&studio, &owner, flask, &format!("{place}/weights"), &right).await.led_to();
    assert_eq!(held(pool, alloy, Account::Fresh).await.unwrap(), 13_000);
    assert_eq!(held(pool, alloy, Account::Cast).await.unwrap(), 7_000);
    let left: i64 =
        sqlx::query_scalar("SELECT left_cg FROM metal_lots_left").fetch_one(pool).await.unwrap();
    assert_eq!(left, 13_000, "the lot is told of the right weight");

    // Divested with a weight missing: asked; then recorded, then taken back.
    let divest = format!("/flasks/{flask}/divest");
    let missing = [("pieces_g", "31"), ("returns_g", "14")];
    let asked = tell(&studio, &owner, flask, &divest, &missing).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(asked.body.contains("25 g of the 70 g that were poured, 36 %"), "{}", asked.body);
    let sure = [("pieces_g", "31"), ("returns_g", "14"), ("sure", "yes")];
    tell(&studio, &owner, flask, &divest, &sure).await.led_to();
    assert_eq!(held(pool, alloy, Account::Loss).await.unwrap(), 2_500);
    tell(&studio, &owner, flask, &format!("/flasks/{flask}/undivest"), &[]).await.led_to();
    assert_eq!(flask_state(&studio, flask).await, "poured");
    assert_eq!(held(pool, alloy, Account::Loss).await.unwrap(), 0);
    assert_eq!(held(pool, alloy, Account::Cast).await.unwrap(), 7_000);
    studio.cut_off(&owner, flask, "31.00", "38.50").await;

    // Once a piece has gone on, the flask stays divested.
    let seen = studio.version_of(&labels[0]).await;
    let bench = format!("/finishing/{}/begin", labels[0]);
    let heavy = owner.post(&bench, &[("version", seen.as_str()), ("raw", "500")]).await;
    assert_eq!(heavy.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(heavy.body.contains("Record 500 g all the same?"), "{}", heavy.body);
    owner.post(&bench, &[("version", seen.as_str()), ("raw", "15.5")]).await.led_to();
    let late = tell(&studio, &owner, flask, &format!("/flasks/{flask}/undivest"), &[]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("has gone on"), "{}", late.body);
    let late = tell(&studio, &owner, flask, &format!("{place}/take-back"), &[]).await;
    assert_eq!(late.status, StatusCode::CONFLICT, "a divested flask was poured");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lost_pour_keeps_its_cause_for_every_piece() {
    let (studio, owner) = workshop().await;
    let labels = studio.pieces(2, None).await;
    buy(&owner, studio.alloy_of(&labels[0]).await, "200").await;
    let flask = studio.hot_flask(&[&labels[0], &labels[1]], 72.0).await;
    let lost = pour(&[("fresh_g", "72"), ("result", "lost"), ("cause", "flask leaked")]);
    owner.post(&format!("/pours/{flask}"), &lost).await.led_to();
    let causes: Vec<String> =
        sqlx::query_scalar("SELECT cause FROM attempts WHERE outcome = 'failed'")
            .fetch_all(&studio.db.pool)
            .await
            .unwrap();
    assert_eq!(causes, ["flask leaked", "flask leaked"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tree_that_weighs_less_than_its_models_is_asked_about() {
    let (studio, owner) = workshop().await;
    let labels = studio.pieces(4, None).await;
    for label in &labels {
        studio.in_hand(label, Stage::Invest).await;
    }
    let flask = studio.flask(&labels, "treeing").await;
    // Four models of 1.5 cm³ at 1.16 g/cm³ are 6.96 g.
    let weigh = |tree: &'static str, sure: &'static str| {
        [
            ("base_mass_g", "25"),
            ("tree_mass_g", tree),
            ("pattern_density", "1.16"),
            ("collar_mm", "6"),
            ("sure", sure),
        ]
    };
    let place = format!("/flasks/{flask}/weigh");
    let asked = tell(&studio, &owner, flask, &place, &weigh("26", "")).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        asked.body.contains("Expected about 7.0 g. Record 1 g all the same?"),
        "{}",
        asked.body
    );
    assert!(asked.body.contains("value=\"26\"") && asked.body.contains("name=\"sure\""));
    tell(&studio, &owner, flask, &place, &weigh("26", "yes")).await.led_to();
    tell(&studio, &owner, flask, &place, &weigh("38", "")).await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_burnout_that_is_told_as_held_hours_early_is_asked_about() {
    let (studio, owner) = workshop().await;
    let labels = studio.pieces(1, None).await;
    studio.bring_to(&labels[0], Stage::Burnout).await;
    let flask = studio.flask(&labels, "setting").await;
    planned(&studio, flask, 100.0).await;
    let load: i32 = sqlx::query_scalar("SELECT number FROM kiln_loads")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let place = format!("/loads/{load}");
    let start = [("version", "1"), ("read_back", "yes")];
    owner.post(&format!("{place}/start"), &start).await.led_to();
    studio.clock.set(studio.clock.now().plus_minutes(1));
    let early = owner.post(&format!("{place}/hold"), &[("version", "2")]).await;
    assert_eq!(early.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        early.body.contains("11 h 59 min of the burnout are left; unburnt pattern"),
        "{}",
        early.body
    );
    assert_eq!(flask_state(&studio, flask).await, "in_kiln");
    studio.clock.set(studio.clock.now().plus_minutes(600));
    owner.post(&format!("{place}/hold"), &[("version", "2"), ("sure", "yes")]).await.led_to();
    assert_eq!(flask_state(&studio, flask).await, "hot");
    let kept: serde_json::Value = sqlx::query_scalar(
        "SELECT detail FROM piece_events WHERE kind = 'finished' AND stage = 'burnout'",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    assert_eq!(kept, serde_json::json!({ "planned_minutes": 720.0, "minutes": 601.0 }));
    assert!(owner.get(&place).await.page().contains("10 h 1 min of the 12 h"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wash_and_a_cure_that_are_over_in_seconds_are_asked_about() {
    let (studio, owner) = workshop().await;
    let labels = studio.pieces(1, None).await;
    studio.bring_to(&labels[0], Stage::Cure).await;
    let piece = studio.attempt_of(&labels[0]).await.to_string();
    let form = [
        ("wash", "isopropyl alcohol"),
        ("medium", "air"),
        ("wash_minutes", "6"),
        ("cure_minutes", "40"),
        ("pieces", piece.as_str()),
    ];
    let place = owner.post("/cure", &form).await.led_to().to_owned();
    // In air nothing is weighted down or rinsed of a medium.
    let page = owner.get(&place).await;
    assert!(!page.page().contains("Medium rinsed off") && !page.body.contains("Weighted down"));
    assert!(page.body.contains("Turned over"));
    owner.post(&format!("{place}/begin"), &[("version", "1")]).await.led_to();
    let early = owner.post(&format!("{place}/washed"), &[("version", "2")]).await;
    assert_eq!(early.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(early.body.contains("6 min of the wash are left"), "{}", early.body);
    studio.clock.set(studio.clock.now().plus_minutes(6));
    owner.post(&format!("{place}/washed"), &[("version", "2")]).await.led_to();
    let early = owner.post(&format!("{place}/finish"), &[("version", "3")]).await;
    assert_eq!(early.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(early.body.contains("40 min of the cure are left"), "{}", early.body);
    owner.post(&format!("{place}/finish"), &[("version", "3"), ("sure", "yes")]).await.led_to();
    assert!(owner.get(&place).await.page().contains("0 s of 40 min"));

    // In water both steps are on the sheet.
    let others = studio.pieces(1, None).await;
    studio.bring_to(&others[0], Stage::Cure).await;
    let piece = studio.attempt_of(&others[0]).await.to_string();
    let form: Vec<_> = form
        .into_iter()
        .map(|(name, value)| match name {
            "medium" => (name, "water"),
            "pieces" => (name, piece.as_str()),
            _ => (name, value),
        })
        .collect();
    let place = owner.post("/cure", &form).await.led_to().to_owned();
    assert!(owner.get(&place).await.page().contains("Medium rinsed off"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_links_to_the_load_that_fired_it() {
    let (studio, owner) = workshop().await;
    let labels = studio.pieces(1, None).await;
    buy(&owner, studio.alloy_of(&labels[0]).await, "200").await;
    studio.bring_to(&labels[0], Stage::Cast).await;
    let flask = studio.flask(&labels, "hot").await;
    // It stood in a plan that was replaced, before it was fired.
    planned(&studio, flask, 100.0).await;
    let superseded: i32 = sqlx::query_scalar("SELECT number FROM kiln_loads")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    for sql in [
        "UPDATE kiln_load_flasks SET left_at = now() - interval '2 days'",
        "UPDATE kiln_loads SET state = 'cancelled'",
    ] {
        sqlx::query(sql).execute(&studio.db.pool).await.unwrap();
    }
    let fired = studio.held_load(&[flask]).await;
    owner.post(&format!("/pours/{flask}"), &pour(&[("fresh_g", "190")])).await.led_to();
    studio.cut_off(&owner, flask, "15.50", "172.00").await;
    let page = owner.get(&format!("/flasks/{flask}")).await;
    assert!(page.page().contains(&format!("href=\"/loads/{fired}\"")), "{}", page.body);
    assert!(!page.body.contains(&format!("href=\"/loads/{superseded}\"")));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_that_the_studio_does_not_have_is_asked_about() {
    let (studio, owner) = workshop().await;
    sqlx::query("UPDATE flask_types SET owned = 1 WHERE name = 'Middle'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let labels = studio.pieces(1, None).await;
    studio.bring_to(&labels[0], Stage::Burnout).await;
    let flask = studio.flask(&labels, "setting").await;
    planned(&studio, flask, 100.0).await;
    let others = studio.pieces(1, None).await;
    studio.bring_to(&others[0], Stage::Invest).await;
    let alloy = studio.alloy_of(&others[0]).await.to_string();
    let page = owner.get("/flasks/new").await;
    assert!(page.page().contains("Middle, 89 × 120 mm, 0 of 1 free"), "{}", page.body);
    assert!(page.body.contains("Small, 64 × 80 mm, 6 of 6 free"));
    let mut ids = Vec::new();
    for sql in [
        "SELECT id::text FROM flask_types WHERE name = 'Middle'",
        "SELECT id::text FROM investments",
        "SELECT id::text FROM burnout_families WHERE name = 'Resin'",
        "SELECT id::text FROM pieces ORDER BY created_at DESC, id DESC LIMIT 1",
    ] {
        let id: String = sqlx::query_scalar(sql).fetch_one(&studio.db.pool).await.unwrap();
        ids.push(id);
    }
    let mut form = vec![
        ("flask_type", ids[0].as_str()),
        ("investment", &ids[1]),
        ("family", &ids[2]),
        ("piece", &ids[3]),
        ("alloy", &alloy),
        ("flask_c", "540"),
    ];
    let asked = owner.post("/flasks", &form).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    // Its pour is planned for ten hours from now.
    assert!(
        asked.body.contains("The only Middle is in use; the first is free about Wed 25 Nov"),
        "{}",
        asked.body
    );
    form.push(("sure", "yes"));
    owner.post("/flasks", &form).await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn brass_warns_of_zinc_wherever_it_is_melted() {
    let (studio, owner) = workshop().await;
    let labels = studio.pieces(1, None).await;
    let alloy = studio.alloy_of(&labels[0]).await;
    let flask = studio.hot_flask(&[&labels[0]], 72.0).await;
    assert!(!owner.get("/pours").await.page().contains("Zinc fume"), "sterling gives off none");
    sqlx::query("INSERT INTO alloy_parts VALUES ($1, 'Cu', 600), ($1, 'Zn', 400)")
        .bind(alloy)
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let sheet = owner.get("/pours").await;
    assert!(sheet.page().contains("Zinc fume") && sheet.body.contains("29 CFR 1910.1000"));
    let now = owner.get("/now").await;
    assert!(now.page().contains(&format!("Pour flask {flask}")) && now.body.contains("Zinc fume"));
    sqlx::query("UPDATE alloy_parts SET metal = 'Cd' WHERE metal = 'Zn'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    assert!(owner.get("/pours").await.page().contains("Cadmium: do not melt"));
}

#[tokio::test(flavor = "multi_thread")]
async fn now_offers_no_plate_while_another_is_on_the_printer() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let room = studio.print_room().await;
    let mut places = Vec::new();
    for _ in 0..2 {
        let labels = studio.pieces(1, None).await;
        let attempt = studio.attempt_of(&labels[0]).await.to_string();
        let form = [
            ("printer", room.printer.as_str()),
            ("lot", &room.lot),
            ("supports", "medium"),
            ("pieces", &attempt),
        ];
        places.push(owner.post("/plates", &form).await.led_to().to_owned());
    }
    let start = |place: &str| format!("{place}/start");
    assert!(owner.get("/now").await.page().contains(&start(&places[1])));
    owner.post(&start(&places[0]), &[("version", "1")]).await.led_to();
    studio.clock.set(studio.clock.now().plus_minutes(600));
    let page = owner.get("/now").await;
    let number = places[0].rsplit('/').next().unwrap();
    assert!(page.page().contains(&format!("after plate {number}")), "{}", page.body);
    assert!(!page.body.contains(&start(&places[1])), "it would be refused");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_day_that_is_far_off_is_told_as_a_day() {
    let (studio, owner) = workshop().await;
    let labels = studio.pieces(1, None).await;
    studio.bring_to(&labels[0], Stage::Burnout).await;
    let flask = studio.flask(&labels, "setting").await;
    let page = owner.get("/now").await;
    let ask = page.page().split(&format!("Flask {flask} has set")).nth(1).unwrap();
    assert!(ask.contains("to be fired by") && ask.contains("in 48 h"), "{ask}");
    assert!(owner.get("/").await.page().contains("to be fired by"));
}

#[tokio::test(flavor = "multi_thread")]
async fn one_forecast_tells_the_days_of_an_order_and_of_its_pieces() {
    let (studio, owner) = workshop().await;
    let labels = studio.pieces(1, None).await;
    let order = labels[0].split('-').next().unwrap().to_owned();
    let told = owner.get(&format!("/orders/{order}")).await;
    let even = told.page().split("<dt>5 in 10</dt><dd>").nth(1).expect("a day is told");
    let day = even.split('<').next().unwrap().to_owned();
    let rework = owner.get(&format!("/pieces/{}/rework", labels[0])).await;
    assert!(rework.page().contains(&format!("ready about <b>{day}</b>")), "{day}: {}", rework.body);
    let split = owner.get(&format!("/orders/{order}/split")).await;
    assert!(split.page().contains(&format!("ready about {day}")), "{day}: {}", split.body);
    assert!(split.body.contains(&format!("<dt>5 in 10</dt><dd>{day}</dd>")));
}
