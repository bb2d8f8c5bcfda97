//! The plan: proposed from the studio as it stands, kept to pins and forbidden kilns, accepted once.

use axum::http::StatusCode;
use pourday::clock::Moment;
use sqlx::PgPool;

use crate::support::builders_orders::alloy;
use crate::support::studio::{Actor, Studio, moment};

/// A furnished studio: the demo's kilns, flasks and programmes.
pub(crate) async fn furnished() -> (Studio, Actor) {
    let studio = Studio::open().await;
    let owner = furnish(&studio).await;
    (studio, owner)
}

pub(crate) async fn furnish(studio: &Studio) -> Actor {
    sqlx::raw_sql(include_str!("../../src/demo/workshop.sql"))
        .execute(&studio.db.pool)
        .await
        .unwrap();
    alloy(&studio.db.pool, "Sterling", 10.36).await;
    studio.owner().await
}

/// A filled flask of a kind that has set.
pub(crate) async fn set_flask(pool: &PgPool, kind: &str, set_from: Moment) -> i32 {
    sqlx::query_scalar(
        "INSERT INTO flasks (id, flask_type_id, alloy_id, investment_id, family_id, flask_c, created_at, state,
                             tree_mass_g, base_mass_g, charge_g, powder_g, water_g, mixed_at, set_from_at, latest_start_at)
         SELECT gen_random_uuid(), t.id, a.id, i.id, b.id, 520, $2, 'setting', 80, 50, 200, 900, 360,
                $2 - interval '2 hours', $2, $2 + interval '2 days'
         FROM flask_types t, alloys a, investments i, burnout_families b WHERE t.name = $1 AND b.name = 'Resin'
         RETURNING number",
    )
    .bind(kind)
    .bind(set_from)
    .fetch_one(pool)
    .await
    .unwrap()
}

/// Asks for a plan and waits until it is there; returns its page.
pub(crate) async fn proposed(studio: &Studio, owner: &Actor) -> String {
    owner.post("/plan/propose", &[]).await.led_to();
    for _ in 0..600 {
        let state: String =
            sqlx::query_scalar("SELECT state FROM plans ORDER BY number DESC LIMIT 1")
                .fetch_one(&studio.db.pool)
                .await
                .unwrap();
        if state != "computing" {
            return owner.get("/plan").await.page().to_owned();
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("the planner did not answer");
}

pub(crate) async fn count(studio: &Studio, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(&studio.db.pool).await.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn with_no_flask_there_is_nothing_to_plan_and_the_page_says_so() {
    let (_studio, owner) = furnished().await;
    let answer = owner.post("/plan/propose", &[]).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.body.contains("No flask waits for a kiln"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_larger_than_every_kiln_is_left_out_with_its_reason_and_the_rest_is_planned() {
    let (studio, owner) = furnished().await;
    sqlx::query("UPDATE flask_types SET height_mm = 900 WHERE name = 'Large'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let now = studio.clock.now();
    let fits = set_flask(&studio.db.pool, "Middle", now).await;
    let too_tall = set_flask(&studio.db.pool, "Large", now).await;
    let page = proposed(&studio, &owner).await;
    assert!(page.contains(&format!("Flask {too_tall}</b></a>: it is too tall")), "{page}");
    assert!(page.contains(&format!("href=\"/flasks/{fits}\">{fits}</a></dt>")));
}

#[tokio::test(flavor = "multi_thread")]
async fn accepting_twice_makes_the_loads_once_and_a_new_plan_takes_their_place() {
    let (studio, owner) = furnished().await;
    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    let form = [("number", "1"), ("once", "01890a5d-ac96-774b-bcce-b302099a8057")];
    owner.post("/plan/accept", &form).await.led_to();
    owner.post("/plan/accept", &form).await.led_to();
    assert_eq!(count(&studio, "SELECT count(*) FROM kiln_loads WHERE state = 'planned'").await, 1);
    let late = owner.post("/plan/accept", &[("number", "1")]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("no longer open"));

    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    owner.post("/plan/accept", &[("number", "2")]).await.led_to();
    assert_eq!(
        count(&studio, "SELECT count(*) FROM kiln_load_flasks WHERE left_at IS NULL").await,
        2
    );
    assert_eq!(count(&studio, "SELECT count(*) FROM plans WHERE state = 'accepted'").await, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_forbidden_kiln_is_not_used_and_a_pin_is_kept() {
    let (studio, owner) = furnished().await;
    let flask = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    let kiln = |name: &'static str| {
        let pool = studio.db.pool.clone();
        async move {
            let id: String = sqlx::query_scalar("SELECT id::text FROM kilns WHERE name = $1")
                .bind(name)
                .fetch_one(&pool)
                .await
                .unwrap();
            id
        }
    };
    let (big, small) = (kiln("Big kiln").await, kiln("Small kiln").await);
    owner
        .post(
            "/plan/forbid",
            &[("kiln", &big), ("until", "2026-11-27"), ("reason", "new elements")],
        )
        .await
        .led_to();
    // 17:00 in Berlin; burnt out before the morning and held until somebody is there.
    let fields = [
        ("flask", flask.to_string()),
        ("kiln", small.clone()),
        ("start", "2026-11-25T17:00".to_owned()),
    ];
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    owner.post("/plan/pin", &fields).await.led_to();
    let page = proposed(&studio, &owner).await;
    assert!(page.contains("new elements"));
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    let (name, starts): (String, Moment) = sqlx::query_as(
        "SELECT k.name, l.planned_start_at FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id WHERE l.state = 'planned'",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    assert_eq!((name.as_str(), starts), ("Small kiln", moment("2026-11-25T16:00:00Z")));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pin_in_the_past_is_told_beside_its_field_and_keeps_what_was_typed() {
    let (studio, owner) = furnished().await;
    let flask = set_flask(&studio.db.pool, "Small", studio.clock.now()).await.to_string();
    let kiln: String = sqlx::query_scalar("SELECT id::text FROM kilns LIMIT 1")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let answer = owner
        .post("/plan/pin", &[("flask", &flask), ("kiln", &kiln), ("start", "2020-01-01T09:00")])
        .await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("This lies in the past"));
    assert!(answer.body.contains("2020-01-01T09:00"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_starts_only_when_its_programme_was_read_back_and_a_pour_needs_a_hot_flask() {
    let (studio, owner) = furnished().await;
    let flask = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    let unread = owner.post("/loads/81/start", &[("version", "1")]).await;
    assert_eq!(unread.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(unread.body.contains("Read the programme back"));
    let cold = owner
        .post(
            &format!("/pours/{flask}"),
            &[
                ("fresh_g", "10"),
                ("returns_g", "0"),
                ("melt_c", "970"),
                ("flask_c", "520"),
                ("result", "good"),
            ],
        )
        .await;
    assert_eq!(cold.status, StatusCode::CONFLICT);
    assert!(cold.body.contains("flask that is hot"), "{}", cold.body);
    assert_eq!(count(&studio, "SELECT count(*) FROM pours").await, 0);
    let setting = format!("flask {flask}");
    let clock = [("name", "bench set"), ("minutes", "120"), ("of", setting.as_str())];
    owner.post("/timers", &clock).await.led_to();
    owner.post("/loads/81/start", &[("version", "1"), ("read_back", "yes")]).await.led_to();
    let sets = "SELECT count(*) FROM timers WHERE name = 'bench set' AND ended_at IS NULL";
    assert_eq!(count(&studio, sets).await, 0, "what is in the kiln has set");
    let stale = owner.post("/loads/81/start", &[("version", "1"), ("read_back", "yes")]).await;
    assert_eq!(stale.status, StatusCode::CONFLICT);
}

/// A form as the tests' actor wants it.
pub(crate) fn owned<'a>(fields: &'a [(&'a str, String)]) -> Vec<(&'a str, &'a str)> {
    fields.iter().map(|(name, value)| (*name, value.as_str())).collect()
}

pub(crate) async fn kiln_id(studio: &Studio, name: &str) -> String {
    sqlx::query_scalar("SELECT id::text FROM kilns WHERE name = $1")
        .bind(name)
        .fetch_one(&studio.db.pool)
        .await
        .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_moved_by_hand_shows_the_cost_and_is_taken_back_and_made_again() {
    let (studio, owner) = furnished().await;
    let first = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    set_flask(&studio.db.pool, "Small", studio.clock.now()).await;
    let page = proposed(&studio, &owner).await;
    assert!(page.contains("Proposal 1"), "{page}");
    // Two days later, in the small kiln, where somebody is there.
    let small = kiln_id(&studio, "Small kiln").await;
    let fields = [
        ("flask", first.to_string()),
        ("place", String::new()),
        ("kiln", small.clone()),
        ("start", "2026-11-26T17:00".to_owned()),
    ];
    owner.post("/plan/move", &owned(&fields)).await.led_to();
    let moved = owner.get("/plan").await;
    assert!(moved.page().contains("Proposal 2"), "{}", moved.body);
    assert!(
        moved.body.contains(&format!("Flask {first} into Small kiln, Thu 26 Nov 17:00:")),
        "{}",
        moved.body
    );
    assert!(moved.body.contains("late in all") || moved.body.contains("against its due date"));
    assert!(moved.body.contains("action=\"/plan/undo\""));

    owner.post("/plan/undo", &[]).await.led_to();
    let back = owner.get("/plan").await;
    assert!(back.page().contains("Proposal 1") && back.body.contains("Taken back:"));
    owner.post("/plan/redo", &[]).await.led_to();
    assert!(owner.get("/plan").await.page().contains("Proposal 2"));

    // What is accepted is what was moved, and the next plan keeps it there.
    owner.post("/plan/accept", &[("number", "2")]).await.led_to();
    let starts: Vec<String> = sqlx::query_scalar(
        "SELECT k.name || ' ' || l.planned_start_at::text FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id
         JOIN kiln_load_flasks lf ON lf.kiln_load_id = l.id JOIN flasks f ON f.id = lf.flask_id
         WHERE l.state = 'planned' AND f.number = $1",
    )
    .bind(first)
    .fetch_all(&studio.db.pool)
    .await
    .unwrap();
    assert_eq!(starts.len(), 1);
    assert!(starts[0].starts_with("Small kiln 2026-11-26 16:00"), "{starts:?}");
    assert_eq!(count(&studio, "SELECT count(*) FROM plan_pins").await, 1);
    let nothing = owner.post("/plan/undo", &[]).await;
    assert_eq!(nothing.status, StatusCode::CONFLICT);
}

#[tokio::test(flavor = "multi_thread")]
async fn others_that_move_with_a_flask_are_told_why() {
    let (studio, owner) = furnished().await;
    sqlx::query("UPDATE studio SET ramp_limit = 1").execute(&studio.db.pool).await.unwrap();
    let first = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    let (kiln, start): (String, String) = sqlx::query_as(
        "SELECT k.name, to_char(l.planned_start_at AT TIME ZONE s.time_zone, 'YYYY-MM-DD\"T\"HH24:MI')
           FROM studio s, kiln_loads l JOIN kilns k ON k.id = l.kiln_id
           JOIN kiln_load_flasks lf ON lf.kiln_load_id = l.id JOIN flasks f ON f.id = lf.flask_id
          WHERE l.state = 'planned' AND f.number = $1",
    )
    .bind(first)
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    let other = if kiln == "Small kiln" { "Big kiln" } else { "Small kiln" };
    let fields = [
        ("flask", first.to_string()),
        ("place", String::new()),
        ("kiln", kiln_id(&studio, other).await),
        ("start", start),
    ];
    owner.post("/plan/move", &owned(&fields)).await.led_to();
    let moved = owner.get("/plan").await;
    assert!(moved.page().contains("Why others move too: "), "{}", moved.body);
    assert!(moved.body.contains("More kilns would heat at once than may."), "{}", moved.body);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_move_that_cannot_be_says_why_and_changes_nothing() {
    let (studio, owner) = furnished().await;
    let flask = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    let small = kiln_id(&studio, "Small kiln").await;
    // Three in the morning: nobody is there to load it.
    let fields =
        [("flask", flask.to_string()), ("kiln", small), ("start", "2026-11-27T03:00".to_owned())];
    let answer = owner.post("/plan/move", &owned(&fields)).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.body.contains("cannot go there"), "{}", answer.body);
    assert!(answer.body.contains("2026-11-27T03:00"), "what was typed is kept");
    assert_eq!(count(&studio, "SELECT count(*) FROM plans").await, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_tells_what_keeps_it_from_being_poured_earlier() {
    let (studio, owner) = furnished().await;
    let flask = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    let page = owner.get(&format!("/plan/flasks/{flask}")).await;
    assert!(page.page().contains("What is in the way of an earlier pour"), "{}", page.body);
    assert!(page.body.contains("By proposal 1."));
    assert!(page.body.contains("Working hours.") || page.body.contains("Only its own programme"));
    assert_eq!(owner.get("/plan/flasks/9999").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_is_stopped_at_will_and_shows_its_first_answer_at_once() {
    let (studio, owner) = furnished().await;
    for _ in 0..9 {
        set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
        set_flask(&studio.db.pool, "Large", studio.clock.now()).await;
    }
    owner.post("/plan/propose", &[("seconds", "300")]).await.led_to();
    let mut seen = false;
    for _ in 0..200 {
        let shown = count(&studio, "SELECT count(*) FROM plans WHERE result IS NOT NULL").await;
        if shown == 1 {
            seen = true;
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    assert!(seen, "a first plan is shown while better ones are looked for");
    let page = owner.get("/plan").await;
    assert!(
        page.page().contains("Stop with the best so far") || page.body.contains("proved to be")
    );
    owner.post("/plan/stop", &[]).await.led_to();
    let mut state = String::new();
    for _ in 0..200 {
        state =
            sqlx::query_scalar("SELECT state FROM plans").fetch_one(&studio.db.pool).await.unwrap();
        if state == "proposed" {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    assert_eq!(state, "proposed");
    let page = owner.get("/plan").await;
    assert!(page.page().contains("Against the loads as they stand"));
    assert!(page.body.contains("Pours in order"));
}

#[tokio::test(flavor = "multi_thread")]
async fn when_a_kiln_breaks_a_new_plan_is_made_and_waits_for_a_yes() {
    let (studio, owner) = furnished().await;
    for _ in 0..3 {
        set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    }
    proposed(&studio, &owner).await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    let now = studio.clock.now();
    // Nothing has changed: nothing is proposed.
    assert_eq!(pourday::plan::replan(&studio.db.pool, now).await.unwrap(), None);
    let used: Vec<String> =
        sqlx::query_scalar("SELECT DISTINCT kiln_id::text FROM kiln_loads WHERE state = 'planned'")
            .fetch_all(&studio.db.pool)
            .await
            .unwrap();
    for kiln in &used {
        owner
            .post("/plan/forbid", &[("kiln", kiln), ("until", "2026-11-29"), ("reason", "broken")])
            .await
            .led_to();
    }
    let number = pourday::plan::replan(&studio.db.pool, now).await.unwrap();
    assert_eq!(number, Some(2));
    // Once is enough, and the agreed loads stand until somebody says yes.
    assert_eq!(pourday::plan::replan(&studio.db.pool, now).await.unwrap(), None);
    let page = owner.get("/plan").await;
    assert!(page.page().contains("The studio has changed"), "{}", page.body);
    assert!(page.body.contains("used while it is out of use"));
    assert!(page.body.contains("As it stands"));
    let before = count(&studio, "SELECT count(*) FROM kiln_loads WHERE state = 'planned'").await;
    assert!(before > 0);
    // Turned down, the same is not proposed again.
    owner.post("/plan/discard", &[]).await.led_to();
    assert_eq!(pourday::plan::replan(&studio.db.pool, now).await.unwrap(), None);
}

#[tokio::test(flavor = "multi_thread")]
async fn two_plans_are_compared_side_by_side_and_weeks_are_paged() {
    let (studio, owner) = furnished().await;
    assert!(owner.get("/plan/compare").await.page().contains("no two plans to compare"));
    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    set_flask(&studio.db.pool, "Large", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    for asked in ["/plan/compare?a=1&b=2", "/plan/compare"] {
        let page = owner.get(asked).await;
        assert!(page.page().contains("Plan 1") && page.body.contains("Plan 2"));
        assert!(page.body.contains("What is different"), "{}", page.body);
        assert!(!page.body.contains("in common"), "{}", page.body);
    }
    assert_eq!(owner.get("/plan/compare?a=1&b=99").await.status, StatusCode::NOT_FOUND);
    assert!(owner.get("/plan/compare?a=&b=").await.page().contains("Plan 1"), "nothing chosen");
    // Plans of other flasks are not compared unless somebody wants that.
    sqlx::query("UPDATE flasks SET state = 'cancelled'").execute(&studio.db.pool).await.unwrap();
    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    let page = owner.get("/plan/compare").await;
    assert!(page.page().contains("Plan 1") && !page.body.contains("Plan 3</th>"), "{}", page.body);
    let page = owner.get("/plan/compare?a=2&b=3").await;
    assert!(page.page().contains("no flask in common"), "{}", page.body);
    let week = owner.get("/plan?week=2026-12-09").await;
    assert!(week.page().contains("Week from Mon 7 Dec"));
    assert!(owner.get("/plan?week=nonsense").await.page().contains("The days from now"));
}

/// Reads a calendar strictly by RFC 5545: lines end in CR LF and are no longer than 75 octets,
/// folded lines are joined, properties have a name, every component that begins ends.
fn strictly_read(text: &str) -> Vec<std::collections::BTreeMap<String, String>> {
    assert!(text.ends_with("\r\n"));
    assert_eq!(text.matches('\n').count(), text.matches("\r\n").count());
    for line in text.trim_end_matches("\r\n").split("\r\n") {
        assert!(!line.is_empty() && line.len() <= 75, "{line}");
    }
    let unfolded = text.replace("\r\n ", "");
    let (mut open, mut events) = (Vec::new(), Vec::new());
    for line in unfolded.trim_end_matches("\r\n").split("\r\n") {
        let (name, value) = line.split_once(':').expect("a property has a value");
        let plain = name.split(';').next().unwrap();
        assert!(plain.chars().all(|c| c.is_ascii_uppercase() || c == '-'), "{line}");
        match plain {
            "BEGIN" => {
                open.push(value.to_owned());
                if value == "VEVENT" {
                    events.push(std::collections::BTreeMap::new());
                }
            }
            "END" => assert_eq!(open.pop().as_deref(), Some(value)),
            _ if open.last().is_some_and(|component| component == "VEVENT") => {
                let event = events.last_mut().unwrap();
                let twice = event.insert(name.to_owned(), value.to_owned());
                assert!(twice.is_none(), "{line}: once in an event (section 3.6.1)");
            }
            _ => assert_eq!(open, ["VCALENDAR"]),
        }
    }
    assert!(open.is_empty());
    assert!(unfolded.starts_with("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:"));
    events
}

#[tokio::test(flavor = "multi_thread")]
async fn calendars_read_loads_pours_and_due_days_from_a_private_address_that_ends() {
    let (studio, owner) = furnished().await;
    sqlx::query("UPDATE kilns SET name = 'Big; hot, \"old\" kiln with a näme so long that its line has to be folded twice at least, ünd mehr' WHERE name = 'Big kiln'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    owner.post("/plan/calendar", &[]).await.led_to();
    let page = owner.get("/plan").await.page().to_owned();
    let path =
        page.split("data-copy-path=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let stranger = studio.stranger();
    let feed = stranger.get(&path).await;
    assert_eq!(feed.status, StatusCode::OK);
    let events = strictly_read(&feed.body);
    assert_eq!(events.len(), 2, "the load and its pour: {events:?}");
    for event in &events {
        for needed in ["UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY"] {
            assert!(event.contains_key(needed), "{needed}");
        }
        assert!(event["DTSTART"] < event["DTEND"]);
        assert!(event["DTSTART"].ends_with('Z') && event["DTSTART"].len() == 16);
    }
    assert_ne!(events[0]["UID"], events[1]["UID"]);
    // Read again, things keep their names.
    let again = strictly_read(&stranger.get(&path).await.body);
    assert_eq!(again[0]["UID"], events[0]["UID"]);
    // A wrong code, and an address that was ended, lead nowhere.
    let wrong = path.replace(".ics", "x.ics");
    assert_eq!(stranger.get(&wrong).await.status, StatusCode::NOT_FOUND);
    owner.post("/plan/calendar/revoke", &[]).await.led_to();
    assert_eq!(stranger.get(&path).await.status, StatusCode::NOT_FOUND);
}

/// Plans and accepts one flask over a Sunday on which clocks change, both days of the weekend
/// staffed from eight to six; sees the pour within those hours of that Sunday's wall.
pub(crate) async fn poured_on_the_sunday(studio: &Studio, owner: &Actor, said: &str) {
    sqlx::raw_sql(
        "UPDATE working_hours SET from_min = 480, to_min = 1080 WHERE weekday = 6;
         INSERT INTO working_hours (weekday, from_min, to_min) VALUES (7, 480, 1080)",
    )
    .execute(&studio.db.pool)
    .await
    .unwrap();
    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(studio, owner).await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    assert!(owner.get("/plan").await.page().contains(said));
    let pours: Vec<String> = sqlx::query_scalar(
        "SELECT to_char(planned_pour_at AT TIME ZONE (SELECT time_zone FROM studio), 'Dy HH24:MI') FROM kiln_load_flasks",
    )
    .fetch_all(&studio.db.pool)
    .await
    .unwrap();
    assert_eq!(pours.len(), 1);
    assert!(("Sun 08:00".."Sun 18:00").contains(&pours[0].as_str()), "{pours:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn on_the_day_clocks_change_hours_stay_where_the_wall_has_them() {
    // Ten in the morning of Saturdays; clocks change in the night after (IANA time zone database).
    let nights = [
        ("Europe/Berlin", "2027-03-27T09:00:00Z", "it is an hour shorter"),
        ("America/New_York", "2026-10-31T14:00:00Z", "it is an hour longer"),
        ("America/New_York", "2027-03-13T15:00:00Z", "it is an hour shorter"),
        // Here clocks change by half an hour, forward in October.
        ("Australia/Lord_Howe", "2026-10-02T23:30:00Z", "it is 30 minutes shorter"),
        ("Australia/Lord_Howe", "2027-04-02T23:00:00Z", "it is 30 minutes longer"),
    ];
    for (zone, saturday, said) in nights {
        let studio = Studio::open().await;
        studio.clock.set(moment(saturday));
        let owner = furnish(&studio).await;
        sqlx::query("UPDATE studio SET time_zone = $1")
            .bind(zone)
            .execute(&studio.db.pool)
            .await
            .unwrap();
        // Loaded on Saturday afternoon, burnt out in the night of the change, poured on Sunday.
        let words =
            format!("Clocks change while Load 81 burns out: from loading to its pours {said}");
        poured_on_the_sunday(&studio, &owner, &words).await;
    }
}
