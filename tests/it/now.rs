//! Now: the one next thing first, one tap to record it, one to take it back.

use axum::http::StatusCode;

use crate::support::studio::{Actor, Studio, moment};

/// Everything a flask needs, and two flasks that set from a moment on.
async fn foundry(studio: &Studio) {
    sqlx::raw_sql(include_str!("../../src/demo/workshop.sql"))
        .execute(&studio.db.pool)
        .await
        .unwrap();
}

async fn attempts(studio: &Studio, labels: &[String]) -> Vec<String> {
    let mut attempts = Vec::new();
    for label in labels {
        attempts.push(studio.attempt_of(label).await.to_string());
    }
    attempts
}

/// Lays out a plate with pieces; its address.
async fn plate(studio: &Studio, maker: &Actor, labels: &[String]) -> String {
    let room = studio.print_room().await;
    let attempts = attempts(studio, labels).await;
    let mut form =
        vec![("printer", room.printer.as_str()), ("lot", &room.lot), ("supports", "medium")];
    form.extend(attempts.iter().map(|attempt| ("pieces", attempt.as_str())));
    maker.post("/plates", &form).await.led_to().to_owned()
}

/// Puts pieces in a cure batch; its address.
async fn cure(studio: &Studio, maker: &Actor, labels: &[String]) -> String {
    let attempts = attempts(studio, labels).await;
    let mut form = vec![("wash", "isopropyl alcohol"), ("medium", "water")];
    form.extend(attempts.iter().map(|attempt| ("pieces", attempt.as_str())));
    maker.post("/cure", &form).await.led_to().to_owned()
}

/// Taps the button of the first thing on the page, as its form stands there.
async fn tap_first(maker: &Actor) -> String {
    let page = maker.get("/now").await;
    let first = page.page().split("<article class=\"ask-first\">").nth(1).expect("a first thing");
    tap(maker, first.split("</article>").next().unwrap()).await
}

/// Sends the first form of a part of a page, and returns the page it leads to.
async fn tap(maker: &Actor, part: &str) -> String {
    let form = part.split("<form ").nth(1).expect("a form to tap").split("</form>").next().unwrap();
    let attribute = |text: &str, name: &str| {
        let rest = text.split(&format!("{name}=\"")).nth(1).unwrap();
        rest.split('"').next().unwrap().to_owned()
    };
    let fields: Vec<(String, String)> = form
        .split("<input ")
        .skip(1)
        .map(|input| (attribute(input, "name"), attribute(input, "value")))
        .collect();
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    let answer = maker.post(&attribute(form, "action"), &fields).await;
    let place = answer.led_to().to_owned();
    assert!(place.starts_with("/now?did="), "{place}");
    maker.get(&place).await.page().to_owned()
}

fn did(page: &str) -> &str {
    page.split("<div class=\"did\"").nth(1).expect("what was done").split("</div>").next().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_bench_says_that_nothing_waits() {
    let studio = Studio::open().await;
    let page = studio.maker().await.get("/now").await;
    assert!(page.page().contains("Nothing runs and nothing waits"));
}

#[tokio::test(flavor = "multi_thread")]
async fn print_and_cure_are_recorded_by_one_tap_each() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(2, Some("2026-12-20")).await;
    assert!(maker.get("/now").await.page().contains("Lay out a plate: 2 pieces wait"));
    plate(&studio, &maker, &labels).await;
    assert!(tap_first(&maker).await.contains("prints."));
    assert_eq!(studio.state_of(&labels[0]).await, ("print".into(), "in_hand".into(), 1));
    // While it prints nothing is asked; two hours later the plate is taken off.
    assert!(maker.get("/now").await.page().contains("Nothing is asked of you now"));
    studio.clock.set(studio.clock.now().plus_minutes(120));
    assert!(tap_first(&maker).await.contains("is done."));
    assert_eq!(studio.state_of(&labels[1]).await, ("cure".into(), "waiting".into(), 1));
    cure(&studio, &maker, &labels).await;
    for (words, minutes) in [("is in the wash", 5), ("is curing", 26), ("is cured", 0)] {
        assert!(tap_first(&maker).await.contains(words));
        studio.clock.set(studio.clock.now().plus_minutes(minutes));
    }
    assert_eq!(studio.state_of(&labels[0]).await, ("invest".into(), "waiting".into(), 1));
    assert!(maker.get("/now").await.page().contains("2 patterns wait"));
}

#[tokio::test(flavor = "multi_thread")]
async fn every_tap_can_be_taken_back_by_a_later_event() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(2, None).await;
    let place = plate(&studio, &maker, &labels).await;
    let page = tap_first(&maker).await;
    assert!(tap(&maker, did(&page)).await.contains("is laid out again"));
    assert_eq!(studio.state_of(&labels[0]).await, ("print".into(), "waiting".into(), 1));
    tap_first(&maker).await;
    studio.clock.set(studio.clock.now().plus_minutes(120));

    // One failed and one came out; then it turns out that the plate still prints.
    let failed = studio.attempt_of(&labels[1]).await.to_string();
    let seen: i64 =
        sqlx::query_scalar("SELECT version FROM plates").fetch_one(&studio.db.pool).await.unwrap();
    let (seen, cause) = (seen.to_string(), format!("cause-{failed}"));
    let form = [("version", seen.as_str()), ("failed", &failed), (&cause, "layer shift")];
    maker.post(&format!("{place}/finish?back=now"), &form).await.led_to();
    assert_eq!(studio.state_of(&labels[1]).await, ("print".into(), "waiting".into(), 2));
    let page = maker.get(&format!("/now?did={place}")).await.page().to_owned();
    assert!(tap(&maker, did(&page)).await.contains("prints."));
    for label in &labels {
        assert_eq!(studio.state_of(label).await, ("print".into(), "in_hand".into(), 1));
    }
    let running = pourday::timers::running(&studio.db.pool).await.unwrap();
    assert_eq!(running.len(), 1, "the plate's clock runs on: {running:?}");
    let kept: i64 = sqlx::query_scalar("SELECT count(*) FROM piece_events WHERE kind = 'undone'")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(kept, 3, "the finish, the failure and the attempt that it queued");

    // Done again, washed, cured; each taken back once.
    tap_first(&maker).await;
    cure(&studio, &maker, &labels).await;
    let page = tap_first(&maker).await;
    assert!(tap(&maker, did(&page)).await.contains("is to begin again"));
    tap_first(&maker).await;
    studio.clock.set(studio.clock.now().plus_minutes(5));
    let page = tap_first(&maker).await;
    assert!(tap(&maker, did(&page)).await.contains("is in the wash"));
    let running = pourday::timers::running(&studio.db.pool).await.unwrap();
    assert_eq!(running.iter().map(|timer| timer.name.as_str()).collect::<Vec<_>>(), ["Wash"]);
    tap_first(&maker).await;
    studio.clock.set(studio.clock.now().plus_minutes(30));
    let page = tap_first(&maker).await;
    assert!(tap(&maker, did(&page)).await.contains("is curing"));
    assert_eq!(studio.state_of(&labels[0]).await, ("cure".into(), "in_hand".into(), 1));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_has_gone_on_is_not_taken_back() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(1, None).await;
    let place = plate(&studio, &maker, &labels).await;
    tap_first(&maker).await;
    studio.clock.set(studio.clock.now().plus_minutes(120));
    tap_first(&maker).await;
    let batch = cure(&studio, &maker, &labels).await;
    let back = format!("{place}/take-back");
    let refused = maker.post(&back, &[("version", "3")]).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("is in cure batch"), "{}", refused.body);
    maker.post(&format!("{batch}/begin"), &[("version", "1")]).await.led_to();
    assert_eq!(maker.post(&back, &[("version", "3")]).await.status, StatusCode::CONFLICT);
    assert_eq!(studio.state_of(&labels[0]).await, ("cure".into(), "in_hand".into(), 1));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tap_on_what_somebody_else_did_is_told_and_changes_nothing() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(1, None).await;
    let place = plate(&studio, &maker, &labels).await;
    tap_first(&maker).await;
    let second = maker.post(&format!("{place}/start?back=now"), &[("version", "1")]).await;
    assert_eq!(second.status, StatusCode::CONFLICT);
    assert!(second.body.contains("is printing by now"));
}

#[tokio::test(flavor = "multi_thread")]
async fn flask_and_load_are_mixed_set_started_and_held_by_taps_that_can_be_taken_back() {
    let studio = Studio::open().await;
    foundry(&studio).await;
    let maker = studio.maker().await;
    let labels = studio.pieces(1, None).await;
    studio.bring_to(&labels[0], pourday::pieces::Stage::Invest).await;
    let pool = &studio.db.pool;
    let choices: (String, String, String, String) = sqlx::query_as(
        "SELECT t.id::text, i.id::text, b.id::text, a.id::text FROM flask_types t, investments i, burnout_families b, alloys a
         JOIN order_lines l ON l.alloy_id = a.id WHERE i.kind = b.investment_kind AND b.pattern = 'resin' LIMIT 1",
    )
    .fetch_one(pool)
    .await
    .unwrap();
    let piece: String =
        sqlx::query_scalar("SELECT id::text FROM pieces").fetch_one(pool).await.unwrap();
    let form = [
        ("flask_type", choices.0.as_str()),
        ("investment", &choices.1),
        ("family", &choices.2),
        ("alloy", &choices.3),
        ("piece", &piece),
        ("flask_c", "520"),
    ];
    let flask = maker.post("/flasks", &form).await.led_to().to_owned();
    assert!(maker.get("/now").await.page().contains("Weigh the tree of flask"));
    let weights = [
        ("version", "1"),
        ("base_mass_g", "40"),
        ("tree_mass_g", "52"),
        ("pattern_density", "1.15"),
        ("collar_mm", "6"),
    ];
    maker.post(&format!("{flask}/weigh"), &weights).await.led_to();

    let page = tap_first(&maker).await;
    assert!(page.contains("is being mixed for"), "the powder is in");
    assert!(tap(&maker, did(&page)).await.contains("is to be mixed for again"));
    studio.clock.set(studio.clock.now().plus_minutes(1));
    tap_first(&maker).await;
    studio.clock.set(studio.clock.now().plus_minutes(9));
    let clocks = pourday::timers::running(pool).await.unwrap().len();
    let page = tap_first(&maker).await;
    assert!(page.contains("is left to set"));
    assert_eq!(studio.state_of(&labels[0]).await, ("burnout".into(), "waiting".into(), 1));
    assert!(tap(&maker, did(&page)).await.contains("is being mixed for"));
    assert_eq!(studio.state_of(&labels[0]).await, ("invest".into(), "in_hand".into(), 1));
    assert_eq!(pourday::timers::running(pool).await.unwrap().len(), clocks, "the mix runs on");
    tap_first(&maker).await;

    // A load that starts when the flask has set.
    sqlx::query(
        "WITH l AS (INSERT INTO kiln_loads (id, kiln_id, family_id, size_class, programme, planned_start_at, planned_held_at)
            SELECT gen_random_uuid(), k.id, f.family_id, 'M', '[{\"kind\":\"ramp\",\"target_c\":732,\"minutes\":300}]', f.set_from_at, f.set_from_at + interval '5 hours'
            FROM flasks f, kilns k LIMIT 1 RETURNING id, planned_held_at)
         INSERT INTO kiln_load_flasks (kiln_load_id, flask_id, x_mm, y_mm, planned_pour_at)
         SELECT l.id, f.id, 100, 100, l.planned_held_at FROM l, flasks f",
    )
    .execute(pool)
    .await
    .unwrap();
    studio.clock.set(moment("2026-11-25T13:00:00Z"));
    let page = maker.get("/now").await;
    assert!(page.page().contains("goes into"), "{}", page.body);
    let page = tap_first(&maker).await;
    assert!(page.contains("burns out"));
    assert!(tap(&maker, did(&page)).await.contains("is to start again"));
    assert_eq!(studio.state_of(&labels[0]).await, ("burnout".into(), "waiting".into(), 1));
    tap_first(&maker).await;
    studio.clock.set(moment("2026-11-25T18:00:00Z"));
    let page = tap_first(&maker).await;
    assert!(page.contains("is held"), "{page}");
    assert!(page.contains("Pour flask"), "the hot flask comes first");
    assert!(tap(&maker, did(&page)).await.contains("burns out"));
    assert_eq!(studio.state_of(&labels[0]).await, ("burnout".into(), "in_hand".into(), 1));
}

/// What the page asks for, in its order: the first thing and those after it.
async fn asked(maker: &Actor) -> Vec<String> {
    let page = maker.get("/now").await;
    let open = page.page().split("<h2>Later</h2>").next().unwrap();
    open.split("class=\"ask-what\"")
        .skip(1)
        .map(|part| {
            let link = part.split("</a>").next().unwrap();
            link.rsplit('>').next().unwrap().to_owned()
        })
        .collect()
}

/// So many flasks in a state, each with a piece of its own; their numbers.
async fn flasks(studio: &Studio, state: &str, n: i32) -> Vec<i32> {
    let labels = studio.pieces(n, None).await;
    let mut numbers = Vec::new();
    for label in &labels {
        studio.bring_to(label, pourday::pieces::Stage::Burnout).await;
        numbers.push(studio.flask(std::slice::from_ref(label), state).await);
    }
    numbers
}

async fn set(studio: &Studio, flask: i32, column: &str, minutes: i64) {
    sqlx::query(sqlx::AssertSqlSafe(format!("UPDATE flasks SET {column} = $2 WHERE number = $1")))
        .bind(flask)
        .bind(studio.clock.now().plus_minutes(minutes))
        .execute(&studio.db.pool)
        .await
        .unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn the_slurry_that_loses_its_gloss_first_comes_first() {
    let studio = Studio::open().await;
    foundry(&studio).await;
    let maker = studio.maker().await;
    let numbers = flasks(&studio, "mixing", 3).await;
    sqlx::query(
        "UPDATE flasks SET mix_clock = '[{\"name\": \"pour\", \"start_min\": 0, \"end_min\": 9}]'",
    )
    .execute(&studio.db.pool)
    .await
    .unwrap();
    for (number, since) in numbers.iter().zip([2, 6, 4]) {
        set(&studio, *number, "mix_started_at", -since).await;
    }
    let wanted = [numbers[1], numbers[2], numbers[0]].map(|number| format!("Flask {number}: pour"));
    assert_eq!(asked(&maker).await, wanted);
}

#[tokio::test(flavor = "multi_thread")]
async fn of_flasks_that_have_set_the_one_that_has_to_be_fired_first_comes_first() {
    let studio = Studio::open().await;
    foundry(&studio).await;
    let maker = studio.maker().await;
    let numbers = flasks(&studio, "setting", 3).await;
    for (number, (from, latest)) in numbers.iter().zip([(-60, 300), (-30, 120), (40, 60)]) {
        set(&studio, *number, "set_from_at", from).await;
        set(&studio, *number, "latest_start_at", latest).await;
    }
    let wanted =
        [numbers[1], numbers[0]].map(|number| format!("Flask {number} has set: plan its burnout"));
    assert_eq!(asked(&maker).await, wanted, "the third has not set");
    assert!(
        maker.get("/now").await.page().contains(&format!("Flask {} has set", numbers[2])),
        "it stands under later"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn the_pattern_whose_cure_ends_first_comes_first_and_none_before_its_time() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(3, None).await;
    let mut places = Vec::new();
    for (label, minutes) in labels.iter().zip(["25", "20", "60"]) {
        studio.bring_to(label, pourday::pieces::Stage::Cure).await;
        let attempt = studio.attempt_of(label).await.to_string();
        let form = [
            ("wash", "isopropyl alcohol"),
            ("wash_minutes", "0"),
            ("medium", "water"),
            ("cure_minutes", minutes),
            ("pieces", attempt.as_str()),
        ];
        let place = maker.post("/cure", &form).await.led_to().to_owned();
        maker.post(&format!("{place}/begin"), &[("version", "1")]).await.led_to();
        places.push(place.rsplit('/').next().unwrap().to_owned());
    }
    assert_eq!(asked(&maker).await, [""; 0]);
    studio.clock.set(studio.clock.now().plus_minutes(26));
    let wanted =
        [&places[1], &places[0]].map(|number| format!("Cure batch {number}: out of the light"));
    assert_eq!(asked(&maker).await, wanted);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_flask_whose_pouring_window_closes_first_comes_first() {
    let studio = Studio::open().await;
    foundry(&studio).await;
    let maker = studio.maker().await;
    let numbers = flasks(&studio, "hot", 2).await;
    studio.held_load(&numbers[..1]).await;
    // The second was held an hour earlier, in the other kiln.
    sqlx::query("UPDATE kiln_loads SET kiln_id = (SELECT id FROM kilns WHERE name = 'Small kiln'), held_at = held_at + interval '30 minutes'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    studio.held_load(&numbers[1..]).await;
    let wanted = [numbers[1], numbers[0]].map(|number| format!("Pour flask {number} in "));
    let asked = asked(&maker).await;
    assert_eq!(asked.len(), 2, "{asked:?}");
    assert!(
        asked.iter().zip(&wanted).all(|(asked, wanted)| asked.starts_with(wanted)),
        "{asked:?}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn among_castings_in_hand_the_first_due_comes_first_and_what_has_no_day_last() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let mut labels = Vec::new();
    for due in [Some("2026-12-20"), None, Some("2026-12-10")] {
        let label = studio.pieces(1, due).await.remove(0);
        studio.in_hand(&label, pourday::pieces::Stage::Finish).await;
        labels.push(label);
    }
    let wanted =
        [&labels[2], &labels[0], &labels[1]].map(|label| format!("Finish {label}, Leaf pendant"));
    assert_eq!(asked(&maker).await, wanted);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_lost_comes_before_what_slips_before_what_waits() {
    let studio = Studio::open().await;
    foundry(&studio).await;
    let maker = studio.maker().await;
    let finishing = studio.pieces(1, Some("2026-11-26")).await.remove(0);
    studio.in_hand(&finishing, pourday::pieces::Stage::Finish).await;
    let set_flask = flasks(&studio, "setting", 1).await[0];
    let hot = flasks(&studio, "hot", 1).await[0];
    studio.held_load(&[hot]).await;
    let mixing = flasks(&studio, "mixing", 1).await[0];
    sqlx::query("UPDATE flasks SET mix_started_at = $1, mix_clock = '[{\"name\": \"pour\", \"start_min\": 0, \"end_min\": 9}]' WHERE state = 'mixing'")
        .bind(studio.clock.now())
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let asked = asked(&maker).await;
    let wanted = [
        format!("Flask {mixing}: pour"),
        format!("Pour flask {hot} in "),
        format!("Flask {set_flask} has set"),
        format!("Finish {finishing}"),
    ];
    assert_eq!(asked.len(), 4, "{asked:?}");
    assert!(
        asked.iter().zip(&wanted).all(|(asked, wanted)| asked.starts_with(wanted)),
        "{asked:?}"
    );
}
