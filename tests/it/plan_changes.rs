//! What happens in a studio after its plan was accepted: somebody is ill, a print fails, a load
//! burns long. A new plan is proposed and waits for a yes.

use axum::http::StatusCode;
use pourday::clock::{Day, Moment};
use pourday::pieces::{self, Act, Happening, Stage};
use pourday::studio::Week;

use crate::plan::{count, furnished, proposed, set_flask};
use crate::support::studio::{Actor, Studio, moment};

async fn person(studio: &Studio, login: &str) -> String {
    sqlx::query_scalar("SELECT id::text FROM people WHERE login = $1")
        .bind(login)
        .fetch_one(&studio.db.pool)
        .await
        .unwrap()
}

/// A plan of some flasks, accepted.
async fn accepted(flasks: usize) -> (Studio, Actor) {
    let (studio, owner) = furnished().await;
    for _ in 0..flasks {
        set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    }
    proposed(&studio, &owner).await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    (studio, owner)
}

async fn replan(studio: &Studio) -> Option<i32> {
    pourday::plan::replan(&studio.db.pool, studio.clock.now()).await.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn somebody_ill_is_said_in_two_taps_and_a_new_plan_waits_for_a_yes() {
    let (studio, owner) = accepted(2).await;
    assert_eq!(replan(&studio).await, None);
    let page = owner.get("/plan").await;
    assert!(page.page().contains("Somebody is ill"));
    let away = format!("/people/{}/away", person(&studio, "owner").await);
    assert!(page.body.contains(&away), "the second tap is on the plan's own page");
    // Until a day that has passed: told at its field, and nothing is noted.
    let past = owner.post(&away, &[("kind", "ill"), ("until", "2026-11-24")]).await;
    assert_eq!(past.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(past.body.contains("This day has passed") && past.body.contains("2026-11-24"));
    assert_eq!(count(&studio, "SELECT count(*) FROM absences").await, 0);

    studio.clock.set(studio.clock.now().plus_minutes(5));
    let tap = [
        ("kind", "ill"),
        ("until", "2026-11-27"),
        ("back", "plan"),
        ("once", "01890a5d-ac96-774b-bcce-b302099a8057"),
    ];
    assert_eq!(owner.post(&away, &tap).await.led_to(), "/plan#away");
    owner.post(&away, &tap).await.led_to();
    assert_eq!(count(&studio, "SELECT count(*) FROM absences").await, 1, "a tap sent twice");

    assert_eq!(replan(&studio).await, Some(2));
    let page = owner.get("/plan").await;
    assert!(page.page().contains("owner is ill from Wed 25 Nov to Fri 27 Nov."), "{}", page.body);
    assert!(page.body.contains("hours in which nobody is there"));
    assert!(page.body.contains("As it stands"), "the difference is shown");
    let before = "SELECT count(*) FROM kiln_loads WHERE state = 'planned' AND planned_start_at < '2026-11-28'";
    assert!(count(&studio, before).await > 0, "nothing changes before somebody says yes");
    owner.post("/plan/accept", &[("number", "2")]).await.led_to();
    assert_eq!(count(&studio, before).await, 0);
    assert!(count(&studio, "SELECT count(*) FROM kiln_loads WHERE state = 'planned'").await > 0);
    assert_eq!(replan(&studio).await, None);

    // Well again from today: the hours are the studio's again.
    let absence: String = sqlx::query_scalar("SELECT id::text FROM absences")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let end = format!("/absences/{absence}/end");
    assert_eq!(owner.post(&end, &[("back", "people")]).await.led_to(), "/people");
    assert_eq!(count(&studio, "SELECT count(*) FROM absences").await, 0);
    owner.post(&end, &[]).await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn while_somebody_else_may_pour_the_plan_stands() {
    let (studio, owner) = furnished().await;
    let maker = studio.maker().await;
    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    let away = format!("/people/{}/away", person(&studio, "owner").await);
    // A maker takes the call.
    maker.post(&away, &[("kind", "ill"), ("until", "2026-11-28")]).await.led_to();
    assert_eq!(replan(&studio).await, None);
    assert!(owner.get("/people").await.page().contains("ill to Sat 28 Nov"));
    let page = maker.get("/presence").await;
    assert!(page.page().contains("Here again") && page.body.contains(">ill</td>"));
    // But the maker does not pour: then nobody is left.
    let hours = format!("/people/{}/hours/studio", person(&studio, "maker").await);
    assert_eq!(maker.post(&hours, &[("version", "1")]).await.status, StatusCode::FORBIDDEN);
    owner.post(&hours, &[("version", "1")]).await.led_to();
    assert!(replan(&studio).await.is_some());
}

#[tokio::test(flavor = "multi_thread")]
async fn hours_of_single_people_are_the_studios_hours_and_the_plan_keeps_to_them() {
    let (studio, owner) = furnished().await;
    let id = person(&studio, "owner").await;
    let place = format!("/people/{id}/hours");
    let page = owner.get(&place).await;
    assert!(page.page().contains("value=\"08:00\""), "the studio's hours to begin with");
    // Thursday afternoons and Friday mornings.
    let fields = [
        ("version", "1"),
        ("pours", "yes"),
        ("from_4_1", "13:00"),
        ("to_4_1", "18:00"),
        ("from_5_1", "08:00"),
        ("to_5_1", "12:00"),
    ];
    assert_eq!(owner.post(&place, &fields).await.led_to(), "/presence");
    let stale = owner.post(&place, &fields).await;
    assert_eq!(stale.status, StatusCode::CONFLICT);
    assert!(stale.body.contains("13:00"), "what was typed is kept");
    let none = owner.post(&place, &[("version", "2"), ("pours", "yes")]).await;
    assert_eq!(none.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(none.body.contains("hours on one day at least"));

    let today = Day("2026-11-25".parse().unwrap());
    let week = Week::load(&studio.db.pool, today).await.unwrap();
    assert!(week.on(today).is_empty());
    assert_eq!(week.on(today.plus_days(1)), [(780, 1080)]);

    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    let (start, pour): (String, String) = sqlx::query_as(
        "SELECT to_char(l.planned_start_at AT TIME ZONE 'Europe/Berlin', 'Dy HH24'),
                to_char(f.planned_pour_at AT TIME ZONE 'Europe/Berlin', 'Dy HH24')
         FROM kiln_loads l JOIN kiln_load_flasks f ON f.kiln_load_id = l.id WHERE l.state = 'planned'",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    assert!(("Thu 13".."Thu 18").contains(&start.as_str()), "{start}");
    assert!(("Fri 08".."Fri 12").contains(&pour.as_str()), "{pour}");
}

/// The print of a piece fails.
async fn fail_print(studio: &Studio, label: &str) {
    let mut conn = studio.db.pool.acquire().await.unwrap();
    let piece = sqlx::query_scalar("SELECT id FROM pieces WHERE label = $1")
        .bind(label)
        .fetch_one(&mut *conn)
        .await
        .unwrap();
    let act = Act::new(studio.clock.now(), None);
    let failed = Happening::Failed(Stage::Print, "delaminated".to_owned());
    for happening in [Happening::Entered(Stage::Print), failed] {
        pieces::record(&mut conn, &[piece], &happening, &act).await.unwrap();
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_failed_print_makes_room_where_a_flask_without_haste_stood() {
    let (studio, owner) = furnished().await;
    let pool = &studio.db.pool;
    // One kiln with room for one flask, which is planned for Monday night without being due.
    sqlx::raw_sql(
        "UPDATE kilns SET retired_at = now() WHERE name = 'Big kiln';
         UPDATE kilns SET width_mm = 125, depth_mm = 125 WHERE name = 'Small kiln'",
    )
    .execute(pool)
    .await
    .unwrap();
    let flask = set_flask(pool, "Middle", moment("2026-11-30T07:00:00Z")).await;
    proposed(&studio, &owner).await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    let start: Moment =
        sqlx::query_scalar("SELECT planned_start_at FROM kiln_loads WHERE state = 'planned'")
            .fetch_one(pool)
            .await
            .unwrap();
    assert_eq!(start.to_string()[..10], *"2026-11-30");
    let labels = studio.pieces(1, Some("2026-12-01")).await;
    assert_eq!(replan(&studio).await, None, "a piece that is printed changes nothing");
    // Assumed: three days from a print to a flask that has set, so on Saturday.
    studio.clock.set(studio.clock.now().plus_minutes(60));
    fail_print(&studio, &labels[0]).await;
    assert_eq!(replan(&studio).await, Some(2));
    let page = owner.get("/plan").await;
    let label = &labels[0];
    let what = format!(
        "{label} failed at print: delaminated. It is made again as attempt 2, due Tue 1 Dec."
    );
    assert!(page.page().contains(&what), "{}", page.body);
    assert!(page.body.contains(&format!("{label}, made again: in Small kiln from Mon 30 Nov")));
    assert!(page.body.contains("Room is kept for it."));
    assert!(page.body.contains("As it stands") && page.body.contains("1 flask changes"));
    owner.post("/plan/accept", &[("number", "2")]).await.led_to();
    let moved: Moment = sqlx::query_scalar(
        "SELECT l.planned_start_at FROM kiln_loads l JOIN kiln_load_flasks x ON x.kiln_load_id = l.id
         JOIN flasks f ON f.id = x.flask_id WHERE l.state = 'planned' AND f.number = $1",
    )
    .bind(flask)
    .fetch_one(pool)
    .await
    .unwrap();
    assert!(moved > start.plus_minutes(600), "{moved}");
    assert_eq!(replan(&studio).await, None);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_failed_print_that_gains_nothing_by_other_loads_leaves_the_plan_alone() {
    let (studio, _owner) = accepted(2).await;
    let labels = studio.pieces(2, Some("2026-12-18")).await;
    studio.clock.set(studio.clock.now().plus_minutes(5));
    fail_print(&studio, &labels[0]).await;
    assert_eq!(replan(&studio).await, None);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_that_burns_long_moves_its_pours_and_the_load_after_it() {
    let (studio, owner) = accepted(1).await;
    let pool = &studio.db.pool;
    let (load, starts): (i32, Moment) =
        sqlx::query_as("SELECT number, planned_start_at FROM kiln_loads WHERE state = 'planned'")
            .fetch_one(pool)
            .await
            .unwrap();
    studio.clock.set(starts.plus_minutes(15));
    let form = [("version", "1"), ("read_back", "yes")];
    owner.post(&format!("/loads/{load}/start"), &form).await.led_to();
    assert_eq!(replan(&studio).await, None, "as planned so far");
    let pour: Moment = sqlx::query_scalar("SELECT planned_pour_at FROM kiln_load_flasks")
        .fetch_one(pool)
        .await
        .unwrap();
    // An hour after the pour was to be, it burns still.
    studio.clock.set(pour.plus_minutes(60));
    assert_eq!(replan(&studio).await, Some(2));
    let page = owner.get("/plan").await;
    assert!(page.page().contains(&format!("Load {load} in ")), "{}", page.body);
    assert!(page.body.contains("and burns still."));
    owner.post("/plan/accept", &[("number", "2")]).await.led_to();
    let moved: Moment = sqlx::query_scalar("SELECT planned_pour_at FROM kiln_load_flasks")
        .fetch_one(pool)
        .await
        .unwrap();
    assert!(moved >= studio.clock.now(), "{moved}");
    assert_eq!(replan(&studio).await, None, "what was accepted holds");
    // Held at last: told once more only if its pours cannot be kept.
    owner.post(&format!("/loads/{load}/hold"), &[("version", "2")]).await.led_to();
    assert_eq!(replan(&studio).await, None);
}

/// The load of the accepted plan: its number and its planned start.
async fn first_load(studio: &Studio) -> (i32, Moment) {
    sqlx::query_as("SELECT number, planned_start_at FROM kiln_loads WHERE state = 'planned'")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap()
}

async fn start(studio: &Studio, owner: &Actor, load: i32, at: Moment) {
    studio.clock.set(at);
    let form = [("version", "1"), ("read_back", "yes")];
    owner.post(&format!("/loads/{load}/start"), &form).await.led_to();
}

/// Everything that accepting a plan would change.
async fn agreed(studio: &Studio) -> Vec<(i32, String, i32, Moment, bool)> {
    sqlx::query_as(
        "SELECT l.number, l.state, f.number, x.planned_pour_at, x.left_at IS NULL FROM kiln_loads l
         JOIN kiln_load_flasks x ON x.kiln_load_id = l.id JOIN flasks f ON f.id = x.flask_id ORDER BY 1, 3",
    )
    .fetch_all(&studio.db.pool)
    .await
    .unwrap()
}

/// A moment as the pages write it.
fn written(at: Moment) -> String {
    let zone = jiff::tz::TimeZone::get("Europe/Berlin").unwrap();
    zone.to_datetime(at.0).strftime("%a %-d %b %H:%M").to_string()
}

/// A part of a page, from the place with an id to the end of its element.
fn part<'p>(page: &'p str, id: &str, end: &str) -> &'p str {
    let from = page.find(&format!("id=\"{id}\"")).unwrap_or_else(|| panic!("no {id}: {page}"));
    &page[from..from + page[from..].find(end).unwrap()]
}

#[tokio::test(flavor = "multi_thread")]
async fn a_proposal_whose_load_was_started_otherwise_changes_nothing() {
    let (studio, owner) = accepted(2).await;
    let late = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    let one_load =
        "SELECT jsonb_array_length(result -> 'loads')::bigint FROM plans WHERE number = 2";
    assert_eq!(count(&studio, one_load).await, 1, "all three in one load");
    let (load, starts) = first_load(&studio).await;
    start(&studio, &owner, load, starts.plus_minutes(10)).await;
    let before = agreed(&studio).await;

    let page = owner.get("/plan").await;
    let text = page.page();
    assert!(text.contains("Proposal 2 is out of date"), "{text}");
    assert!(text.contains(&format!("Load {load} has started since")), "{text}");
    assert!(text.contains(&format!("and {late} in that load")), "{text}");
    assert!(!text.contains("Accept this plan") && text.contains("Plan anew"), "{text}");
    assert!(!text.contains("New load"), "nothing of it is drawn");
    let refused = owner.post("/plan/accept", &[("number", "2")]).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("Make a plan anew; nothing was changed"), "{}", refused.body);
    assert_eq!(agreed(&studio).await, before, "nothing was changed");
    assert_eq!(replan(&studio).await, None, "what somebody asked for stays until it is answered");

    let page = proposed(&studio, &owner).await;
    assert!(page.contains("Accept this plan") && page.contains("New load"), "{page}");
    owner.post("/plan/accept", &[("number", "3")]).await.led_to();
    let planned = agreed(&studio).await;
    assert!(planned.iter().any(|row| row.2 == late && row.1 == "planned" && row.4), "{planned:?}");
    assert_eq!(planned.iter().filter(|row| row.0 == load).count(), 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_proposed_without_asking_is_withdrawn_and_proposed_anew() {
    let (studio, owner) = accepted(2).await;
    studio.clock.set(studio.clock.now().plus_minutes(5));
    let late = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    assert_eq!(replan(&studio).await, Some(2));
    assert_eq!(replan(&studio).await, None, "it holds");
    let (load, starts) = first_load(&studio).await;
    start(&studio, &owner, load, starts.plus_minutes(10)).await;
    assert_eq!(replan(&studio).await, Some(3));
    let state = "SELECT count(*) FROM plans WHERE number = 2 AND state = 'replaced'";
    assert_eq!(count(&studio, state).await, 1);
    owner.post("/plan/accept", &[("number", "3")]).await.led_to();
    assert!(agreed(&studio).await.iter().any(|row| row.2 == late && row.1 == "planned"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_proposal_shows_loads_under_way_from_their_true_start_and_every_pour_once() {
    let (studio, owner) = accepted(2).await;
    let (load, starts) = first_load(&studio).await;
    let started = starts.plus_minutes(10);
    start(&studio, &owner, load, started).await;
    let pour: Moment = sqlx::query_scalar("SELECT max(planned_pour_at) FROM kiln_load_flasks")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    // Held long after it was to be poured: its start is reckoned back from then for planning.
    studio.clock.set(pour.plus_minutes(90));
    owner.post(&format!("/loads/{load}/hold"), &[("version", "2")]).await.led_to();
    let other = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    let page = proposed(&studio, &owner).await;
    let changed = part(&page, "changed", "</table>");
    assert_eq!(changed.matches(&written(started)).count(), 4, "before and after: {changed}");
    let pours = part(&page, "pours", "</table>");
    let flasks: Vec<i32> = agreed(&studio).await.iter().map(|row| row.2).collect();
    for flask in flasks.iter().chain([&other]) {
        assert_eq!(pours.matches(&format!("href=\"/flasks/{flask}\"")).count(), 1, "{pours}");
    }
    let now = studio.clock.now();
    assert!(pours.contains(&format!("so far {}", written(pour))), "{pours}");
    // What is shown is what accepting it brings.
    owner.post("/plan/accept", &[("number", "2")]).await.led_to();
    let first: Moment = sqlx::query_scalar(
        "SELECT min(x.planned_pour_at) FROM kiln_load_flasks x JOIN kiln_loads l ON l.id = x.kiln_load_id WHERE l.state = 'held'",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    assert!(first >= now, "{first}");
    assert!(
        pours.contains(&format!("<td>{}", &written(first)[written(first).len() - 5..])),
        "{pours}"
    );
}
