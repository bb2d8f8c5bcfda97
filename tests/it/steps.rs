//! Steps of the bench: recorded by a tap, with figures where there are some, and taken back.

use axum::http::StatusCode;
use pourday::metal::{self, Account, Entry, Move};
use pourday::pieces::Stage;

use crate::support::studio::{Actor, Studio, moment};

/// A plate that prints; its address.
async fn plate(studio: &Studio) -> i32 {
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let labels = studio.pieces(1, None).await;
    let attempt = studio.attempt_of(&labels[0]).await.to_string();
    let form = [
        ("printer", &*room.printer),
        ("lot", &room.lot),
        ("supports", "medium"),
        ("pieces", &attempt),
    ];
    let place = maker.post("/plates", &form).await.led_to().to_owned();
    place.rsplit('/').next().unwrap().parse().unwrap()
}

async fn kept(studio: &Studio, step: &str) -> Vec<serde_json::Value> {
    sqlx::query_scalar(
        "SELECT told FROM bench_steps WHERE step = $1 AND taken_back_at IS NULL ORDER BY at, id",
    )
    .bind(step)
    .fetch_all(&studio.db.pool)
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_step_is_recorded_once_shown_and_taken_back() {
    let studio = Studio::open().await;
    let number = plate(&studio).await;
    let owner = studio.owner().await;
    let tap = format!("/steps/print/{number}/plate");
    let place = owner.post(&tap, &[]).await.led_to().to_owned();
    assert_eq!(place, format!("/plates/{number}#steps"));
    let again = owner.post(&tap, &[]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(again.body.contains("at 10:00 by owner"), "it says who was first: {}", again.body);
    assert_eq!(kept(&studio, "plate").await.len(), 1);
    let record: uuid::Uuid =
        sqlx::query_scalar("SELECT id FROM bench_steps").fetch_one(&studio.db.pool).await.unwrap();
    let record = record.to_string();
    assert!(owner.get(&format!("/plates/{number}")).await.page().contains(&record));
    owner.post(&format!("{tap}/take-back"), &[("record", &record)]).await.led_to();
    let twice = owner.post(&format!("{tap}/take-back"), &[("record", &record)]).await;
    assert_eq!(twice.status, StatusCode::CONFLICT);
    owner.post(&tap, &[]).await.led_to();
    assert_eq!(kept(&studio, "plate").await.len(), 1, "and may be recorded anew");
    assert_eq!(owner.get("/steps/print/999").await.status, StatusCode::NOT_FOUND);
    assert_eq!(owner.get("/steps/print/x").await.status, StatusCode::NOT_FOUND);
    assert_eq!(owner.get("/steps/wash/41").await.status, StatusCode::NOT_FOUND);
    assert_eq!(owner.post("/steps/print/41/dance", &[]).await.status, StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_figure_comes_back_with_what_was_typed() {
    let studio = Studio::open().await;
    let number = plate(&studio).await;
    let owner = studio.owner().await;
    let tap = format!("/steps/print/{number}/off");
    let wrong = owner.post(&tap, &[("hours", "six"), ("resin_ml", "12.5")]).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.body.contains("“six” is not a number") && wrong.body.contains("value=\"12.5\""));
    owner.post(&tap, &[("hours", "6,25"), ("resin_ml", "")]).await.led_to();
    assert_eq!(kept(&studio, "off").await, [serde_json::json!({ "hours": 6.25 })]);
}

#[tokio::test(flavor = "multi_thread")]
async fn minutes_of_tasks_at_a_piece_add_up_for_its_end() {
    let studio = Studio::open().await;
    let labels = studio.pieces(1, None).await;
    studio.bring_to(&labels[0], Stage::Finish).await;
    let maker = studio.maker().await;
    let (label, sheet) = (&labels[0], format!("/steps/finish/{}", labels[0]));
    let seen = studio.version_of(label).await;
    maker
        .post(&format!("/finishing/{label}/begin"), &[("version", &seen), ("raw", "15.5")])
        .await
        .led_to();
    for (task, minutes) in
        [("cut_off", "4"), ("ground", "12"), ("polished", "9"), ("polished", "5")]
    {
        let place = maker.post(&format!("{sheet}/{task}"), &[("minutes", minutes)]).await;
        assert_eq!(place.led_to(), format!("/finishing/{label}#steps"));
    }
    let page = maker.get(&format!("/finishing/{label}")).await;
    assert!(page.page().contains("name=\"minutes\" value=\"30\""), "{}", page.body);
    // The next attempt begins with none; the metal of this one goes back, so it has to be there.
    let alloy: pourday::id::AlloyId = sqlx::query_scalar("SELECT alloy_id FROM order_lines")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let mut tx = studio.db.pool.begin().await.unwrap();
    let entry = Entry::new(metal::Kind::Bought, studio.clock.now(), None, "test");
    let moves = [Move::new(Account::Supplier, Account::Pieces, 1550)];
    metal::post(&mut tx, &entry, alloy, &moves).await.unwrap();
    tx.commit().await.unwrap();
    let seen = studio.version_of(label).await;
    let form = [("version", seen.as_str()), ("cause", "gas porosity")];
    maker.post(&format!("/finishing/{label}/defect"), &form).await.led_to();
    assert!(!maker.get(&sheet).await.page().contains("Take back"));
}

/// A load of four segments that was started at nine in the morning.
async fn load(studio: &Studio) -> i32 {
    sqlx::raw_sql(include_str!("../../src/demo/workshop.sql"))
        .execute(&studio.db.pool)
        .await
        .unwrap();
    sqlx::query_scalar(
        "INSERT INTO kiln_loads (id, kiln_id, state, family_id, size_class, programme, planned_start_at, planned_held_at, started_at)
         SELECT gen_random_uuid(), k.id, 'burning', f.id, 'M',
                '[{\"kind\":\"ramp\",\"target_c\":150,\"minutes\":60},{\"kind\":\"hold\",\"target_c\":150,\"minutes\":120},
                  {\"kind\":\"ramp\",\"target_c\":730,\"minutes\":240},{\"kind\":\"ramp\",\"target_c\":540,\"minutes\":60}]',
                $1, $1 + interval '8 hours', $1
         FROM kilns k, burnout_families f LIMIT 1 RETURNING number",
    )
    .bind(studio.clock.now())
    .fetch_one(&studio.db.pool)
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_controller_is_read_back_against_the_programme_and_looked_at_on_the_way() {
    let studio = Studio::open().await;
    let (number, maker) = (load(&studio).await, studio.maker().await);
    let sheet = format!("/steps/burnout/{number}");
    let wrong = [("segments", "4"), ("top_c", "703"), ("held_c", "540")];
    let refused = maker.post(&format!("{sheet}/read_back"), &wrong).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        refused.body.contains("703 °C as highest temperature") && refused.body.contains("730 °C")
    );
    assert!(kept(&studio, "read_back").await.is_empty());
    let right = [("segments", "4"), ("top_c", "730"), ("held_c", "540")];
    maker.post(&format!("{sheet}/read_back"), &right).await.led_to();
    // Five hours in, half of the way from 150 to 730 °C.
    studio.clock.set(moment("2026-11-25T14:00:00Z"));
    maker.post(&format!("{sheet}/check"), &[("kiln_c", "400"), ("fumes", "light")]).await.led_to();
    assert_eq!(kept(&studio, "check").await[0]["asked_c"], 440.0);
    let page = maker.get(&format!("/loads/{number}")).await;
    assert!(page.page().contains("far from the programme"), "{}", page.body);
}

#[tokio::test(flavor = "multi_thread")]
async fn two_at_once_record_a_step_once() {
    let studio = Studio::open().await;
    let number = plate(&studio).await;
    let owner = studio.owner().await;
    let tap = format!("/steps/print/{number}/plate");
    let (one, other) = tokio::join!(owner.post(&tap, &[]), owner.post(&tap, &[]));
    let mut both = [one.status, other.status];
    both.sort();
    assert_eq!(both, [StatusCode::SEE_OTHER, StatusCode::CONFLICT]);
    assert_eq!(kept(&studio, "plate").await.len(), 1);
}

/// The words of a step's line on a sheet.
async fn line(maker: &Actor, place: &str, words: &str) -> String {
    let page = maker.get(place).await;
    let part = page.page().split(&format!("<b>{words}</b>")).nth(1).unwrap();
    part.split("</li>").next().unwrap().to_owned()
}

async fn minutes_told(studio: &Studio) -> Vec<f64> {
    sqlx::query_scalar(
        "SELECT (told ->> 'minutes')::double precision FROM bench_steps WHERE taken_back_at IS NULL ORDER BY at",
    )
    .fetch_all(&studio.db.pool)
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_belongs_to_a_step_fills_in_its_minutes() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(1, None).await;
    studio.in_hand(&labels[0], pourday::pieces::Stage::Finish).await;
    let sheet = format!("/steps/finish/{}", labels[0]);
    let polished = format!("{sheet}/polished");
    let pass = |minutes: i64| studio.clock.set(studio.clock.now().plus_minutes(minutes));
    assert!(line(&maker, &sheet, "Polished").await.contains("Start the clock"));
    // Start, stop, and again after a break: the minutes stand in the form.
    let begun = maker.post(&format!("{polished}/start-clock"), &[("large", "yes")]).await;
    assert_eq!(begun.led_to(), sheet, "a tap on the large sheet leads back to it");
    assert!(line(&maker, &sheet, "Polished").await.contains("Stop and record"));
    assert!(
        maker.get("/now").await.page().contains("At work"),
        "the running clock is seen from Now"
    );
    pass(7);
    maker.post(&format!("{polished}/start-clock"), &[]).await.led_to();
    pass(5);
    maker.post(&format!("{polished}/stop-clock"), &[]).await.led_to();
    let shown = line(&maker, &sheet, "Polished").await;
    assert!(
        shown.contains("value=\"12\"")
            && shown.contains("<details class=\"bench-step-more\" id=\"step-polished\" open"),
        "{shown}"
    );
    pass(60);
    maker.post(&format!("{polished}/start-clock"), &[]).await.led_to();
    pass(3);
    // One tap stops it and records all that was counted, without the break.
    maker.post(&polished, &[]).await.led_to();
    assert_eq!(minutes_told(&studio).await, [15.0]);
    let shown = line(&maker, &sheet, "Polished").await;
    assert!(!shown.contains("Stop and record") && !shown.contains("value=\"15\""), "{shown}");
    assert!(
        maker.get(&format!("/finishing/{}", labels[0])).await.page().contains("value=\"15\""),
        "they add up to the piece's minutes"
    );
    // Taken back, the minutes are offered again.
    let record = shown
        .split("name=\"record\" value=\"")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap()
        .to_owned();
    maker.post(&format!("{polished}/take-back"), &[("record", &record)]).await.led_to();
    assert!(line(&maker, &sheet, "Polished").await.contains("value=\"15\""));
    // What is typed counts more than the clock.
    maker.post(&polished, &[("minutes", "9")]).await.led_to();
    assert_eq!(minutes_told(&studio).await, [9.0]);
    assert!(
        !line(&maker, &sheet, "Polished").await.contains("value=\"15\""),
        "the clock is used up"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn cleaning_has_a_clock_and_what_passes_by_itself_has_none() {
    let studio = Studio::with_workshop().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(1, None).await;
    studio.in_hand(&labels[0], pourday::pieces::Stage::Invest).await;
    let number = studio.flask(&labels, "treeing").await;
    let cleaned = format!("/steps/invest/{number}/cleaned");
    maker.post(&format!("{cleaned}/start-clock"), &[]).await.led_to();
    studio.clock.set(studio.clock.now().plus_minutes(20));
    // The plain tap takes the minutes along.
    maker.post(&cleaned, &[]).await.led_to();
    assert_eq!(minutes_told(&studio).await, [20.0]);
    let quenched = format!("/steps/cast/{number}/quenched/start-clock");
    assert_eq!(maker.post(&quenched, &[]).await.status, StatusCode::NOT_FOUND);
    // What comes after the burnout is neither timed nor recorded before it.
    for step in ["worked/start-clock", "worked"] {
        let early = maker.post(&format!("/steps/cast/{number}/{step}"), &[("minutes", "40")]).await;
        assert_eq!(early.status, StatusCode::CONFLICT, "{step}");
        assert!(early.body.contains("has not been burnt out"), "{}", early.body);
    }
    let sheet = maker.get(&format!("/steps/cast/{number}")).await;
    assert!(!sheet.page().contains("start-clock") && !sheet.body.contains(">Done<"));
    assert!(maker.get(&format!("/steps/invest/{number}")).await.page().contains("start-clock"));
    let early = maker.post(&format!("/steps/finish/{}/polished/start-clock", labels[0]), &[]).await;
    assert_eq!(early.status, StatusCode::CONFLICT);
    assert!(early.body.contains("nothing to finish"), "{}", early.body);
    let running: i64 =
        sqlx::query_scalar("SELECT count(*) FROM step_clocks WHERE stopped_at IS NULL")
            .fetch_one(&studio.db.pool)
            .await
            .unwrap();
    assert_eq!(running, 0);
    // Forgotten over night and longer, it is asked for and nothing is recorded.
    let sprued = format!("/steps/invest/{number}/sprued");
    maker.post(&format!("{sprued}/start-clock"), &[]).await.led_to();
    studio.clock.set(studio.clock.now().plus_minutes(2000));
    let refused = maker.post(&sprued, &[]).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.body.contains("value=\"2000\""), "what it counted is kept: {}", refused.body);
    assert_eq!(minutes_told(&studio).await, [20.0]);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_done_to_many_castings_is_one_tap_with_exceptions_and_one_to_take_it_back() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    assert!(maker.get("/steps/finish").await.page().contains("Nothing is at finish"));
    let labels = studio.pieces(5, None).await;
    for label in &labels[..4] {
        studio.in_hand(label, pourday::pieces::Stage::Finish).await;
    }
    studio.bring_to(&labels[4], pourday::pieces::Stage::Finish).await;
    let ticked = |page: &str| page.matches("name=\"pieces\"").count();
    let page = maker.get("/steps/finish?step=tumbled").await;
    assert_eq!(ticked(page.page()), 5);
    assert_eq!(page.body.matches(" checked").count(), 4, "all that are in hand");
    // Three of them were in the tumbler; ten minutes by hand for all.
    let mut form = vec![("step", "tumbled"), ("minutes", "10"), ("media", "steel")];
    form.extend(labels[..3].iter().map(|label| ("pieces", label.as_str())));
    let led = maker.post("/steps/finish", &form).await.led_to().to_owned();
    let mut minutes = minutes_told(&studio).await;
    minutes.sort_by(f64::total_cmp);
    assert_eq!(minutes, [3.3, 3.3, 3.4], "equal shares that add up");
    let page = maker.get(&led).await;
    assert!(page.page().contains("Tumbled: recorded for 3 pieces."), "{}", page.body);
    let at = page.body.split("name=\"at\" value=\"").nth(1).unwrap().split('"').next().unwrap();
    let back = [("step", "tumbled"), ("at", at)];
    studio.clock.set(studio.clock.now().plus_minutes(1));
    maker.post("/steps/finish/take-back", &back).await.led_to();
    assert!(minutes_told(&studio).await.is_empty());
    // What is missing is asked for, and the ticks stay.
    let wrong = [("step", "cleaned"), ("pieces", labels[1].as_str())];
    let wrong = maker.post("/steps/finish", &wrong).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.body.contains("This is needed."));
    assert_eq!(wrong.body.matches(" checked").count(), 1);
    let none = maker.post("/steps/finish", &[("step", "cleaned"), ("minutes", "4")]).await;
    assert!(none.body.contains("Tick at least one piece."));
    // One that has left the bench holds all of it back.
    let seen = studio.version_of(&labels[1]).await;
    let failed = [("version", seen.as_str()), ("stage", "finish"), ("cause", "pitted")];
    maker.post(&format!("/pieces/{}/failed", labels[1]), &failed).await.led_to();
    let mut form = vec![("step", "cleaned"), ("minutes", "4")];
    form.extend(labels[..3].iter().map(|label| ("pieces", label.as_str())));
    let gone = maker.post("/steps/finish", &form).await;
    assert_eq!(gone.status, StatusCode::CONFLICT);
    assert!(gone.body.contains("nothing to finish"), "{}", gone.body);
    assert!(minutes_told(&studio).await.is_empty(), "all or none");
}
