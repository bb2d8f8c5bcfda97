//! Plans of kilns that cannot follow their programmes: what their own firings have shown counts.

use pourday::clock::Moment;
use pourday::kiln_loads::{Ends, ends_of};
use serde_json::Value;

use crate::kiln_logs::{fired, take_over};
use crate::plan::{count, proposed, set_flask};
use crate::support::studio::{Actor, Studio};

/// Resin in a middle flask, and a quarter of an hour to load it.
const PROGRAMME_MIN: i64 = 60 + 90 + 90 + 90 + 120 + 150 + 60 + 60;
const LOAD_MIN: i64 = 15;

/// A studio with one kiln, whose first firing has a log, and people who are there day and night.
async fn with_one_kiln(kiln: &'static str) -> (Studio, Actor, i32) {
    let (studio, load, owner) = fired().await;
    let pool = &studio.db.pool;
    sqlx::query("UPDATE kilns SET retired_at = now() WHERE name <> $1")
        .bind(kiln)
        .execute(pool)
        .await
        .unwrap();
    sqlx::raw_sql(
        "UPDATE flasks SET state = 'divested';
         DELETE FROM working_hours;
         INSERT INTO working_hours (weekday, from_min, to_min) SELECT d, 0, 1440 FROM generate_series(1, 7) d",
    )
    .execute(pool)
    .await
    .unwrap();
    (studio, owner, load)
}

/// Plans and accepts; the loads: number, start, planned end, first pour, minutes beyond the programme.
async fn agreed(studio: &Studio, owner: &Actor) -> Vec<(i32, Moment, Moment, Moment, i32)> {
    proposed(studio, owner).await;
    let number = count(studio, "SELECT max(number)::bigint FROM plans").await.to_string();
    owner.post("/plan/accept", &[("number", &number)]).await.led_to();
    sqlx::query_as(
        "SELECT l.number, l.planned_start_at, l.planned_held_at, min(x.planned_pour_at), l.planned_longer_min
         FROM kiln_loads l JOIN kiln_load_flasks x ON x.kiln_load_id = l.id
         WHERE l.state = 'planned' GROUP BY l.id ORDER BY l.planned_start_at",
    )
    .fetch_all(&studio.db.pool)
    .await
    .unwrap()
}

async fn ends(studio: &Studio, load: i32) -> Ends {
    ends_of(&studio.db.pool, &[load]).await.unwrap().remove(&load).unwrap()
}

async fn longer(studio: &Studio) -> Option<Value> {
    sqlx::query_scalar(
        "SELECT instance -> 'decisions' -> 'longer' FROM plans ORDER BY number DESC LIMIT 1",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_is_poured_when_its_kiln_is_known_to_be_held() {
    let (studio, owner, fired) = with_one_kiln("Small kiln").await;
    let pool = &studio.db.pool;
    set_flask(pool, "Middle", studio.clock.now()).await;
    let [(before, starts, held, pour, kept)] = agreed(&studio, &owner).await[..] else {
        panic!("one load");
    };
    assert_eq!(held, starts.plus_minutes(LOAD_MIN + PROGRAMME_MIN), "by the programme");
    assert_eq!((pour, kept), (held, 0), "nothing is known of the kiln yet");
    assert_eq!(longer(&studio).await, None);
    assert_eq!(ends(&studio, before).await.at, held);
    let page = owner.get(&format!("/loads/{before}")).await;
    assert!(page.page().contains("If Small kiln is as it was entered"), "{}", page.body);

    // Its own firing shows that it is slow: what was agreed cannot be kept.
    take_over(&owner, fired).await;
    let known = ends(&studio, before).await;
    assert!(known.at > pour.plus_minutes(15), "{known:?}");
    let page = owner.get(&format!("/loads/{before}")).await;
    assert!(page.page().contains("and will have to wait"), "{}", page.body);
    assert_eq!(pourday::plan::replan(pool, studio.clock.now()).await.unwrap(), Some(2));
    owner.post("/plan/discard", &[]).await.led_to();

    // Planned again it can: every load, whatever stands in it.
    for kind in ["Middle", "Middle", "Middle", "Middle", "Middle"] {
        set_flask(pool, kind, studio.clock.now()).await;
    }
    let loads = agreed(&studio, &owner).await;
    assert!(loads.len() >= 2, "{loads:?}");
    for (load, starts, held, pour, kept) in loads {
        assert!(kept > 30, "{kept}");
        assert_eq!(held, starts.plus_minutes(LOAD_MIN + PROGRAMME_MIN + i64::from(kept)));
        let known = ends(&studio, load).await;
        assert_eq!(known.by_programme, starts.plus_minutes(LOAD_MIN + PROGRAMME_MIN));
        let slow = known.slow.as_ref().unwrap();
        assert_eq!(known.at, known.by_programme.plus_minutes(slow.minutes));
        assert!(slow.minutes >= 10 && slow.minutes <= i64::from(kept), "{slow:?}, {kept}");
        assert!(pour >= known.at && pour >= held, "{pour} before {known:?}");
        let more = match slow.minutes {
            minutes if minutes < 60 => format!("{minutes} min"),
            minutes => format!("{} h {:02} min", minutes / 60, minutes % 60),
        };
        let told = format!(
            "Programme 12 h 00 min, Small kiln takes {more} longer (fitted to load {fired})"
        );
        for place in ["/plan".to_owned(), format!("/loads/{load}")] {
            let page = owner.get(&place).await;
            assert!(page.page().contains(&told), "{told}: {}", page.body);
            assert!(page.body.contains("what the kiln takes longer"), "the figure opens");
            assert!(!page.body.contains("will have to wait"));
        }
    }
    // What was planned so stands.
    assert_eq!(pourday::plan::replan(pool, studio.clock.now()).await.unwrap(), None);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_that_burns_in_a_slow_kiln_is_not_poured_earlier_either() {
    let (studio, owner, fired) = with_one_kiln("Small kiln").await;
    let pool = &studio.db.pool;
    take_over(&owner, fired).await;
    set_flask(pool, "Middle", studio.clock.now()).await;
    let [(load, starts, ..)] = agreed(&studio, &owner).await[..] else { panic!("one load") };
    studio.clock.set(starts.plus_minutes(LOAD_MIN));
    let form = [("version", "1"), ("read_back", "yes")];
    owner.post(&format!("/loads/{load}/start"), &form).await.led_to();
    let known = ends(&studio, load).await;
    let slow = known.slow.unwrap();
    assert_eq!(known.at, studio.clock.now().plus_minutes(PROGRAMME_MIN + slow.minutes));
    assert_eq!(pourday::plan::replan(pool, studio.clock.now()).await.unwrap(), None, "as planned");
    // Planned beside another flask, it is poured as soon as it is held.
    set_flask(pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    let number = count(&studio, "SELECT max(number)::bigint FROM plans").await.to_string();
    owner.post("/plan/accept", &[("number", &number)]).await.led_to();
    let pour: Moment = sqlx::query_scalar(
        "SELECT x.planned_pour_at FROM kiln_load_flasks x JOIN kiln_loads l ON l.id = x.kiln_load_id WHERE l.number = $1",
    )
    .bind(load)
    .fetch_one(pool)
    .await
    .unwrap();
    // Nobody begins a pour that midnight would divide.
    assert!(pour >= known.at && pour < known.at.plus_minutes(13), "{pour}, {}", known.at);
    // At the end of its programme it is not late, long after it was to be held it is.
    studio.clock.set(known.by_programme.plus_minutes(20));
    assert_eq!(pourday::plan::replan(pool, studio.clock.now()).await.unwrap(), None);
    studio.clock.set(known.at.plus_minutes(150));
    assert!(pourday::plan::replan(pool, studio.clock.now()).await.unwrap().is_some());
    assert!(owner.get("/plan").await.page().contains("and burns still."));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kiln_to_which_nothing_was_fitted_plans_by_its_programme() {
    let (studio, owner, fired) = with_one_kiln("Big kiln").await;
    // Another one is known to be slow.
    take_over(&owner, fired).await;
    sqlx::query("UPDATE kilns SET retired_at = NULL").execute(&studio.db.pool).await.unwrap();
    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    let [(load, starts, held, pour, kept)] = agreed(&studio, &owner).await[..] else {
        panic!("one load");
    };
    assert_eq!((pour, kept), (starts.plus_minutes(LOAD_MIN + PROGRAMME_MIN), 0));
    let known = ends(&studio, load).await;
    assert_eq!((known.at, known.slow), (held, None));
    let longer = longer(&studio).await.unwrap();
    let longer = longer.as_array().unwrap();
    assert!(!longer.is_empty() && longer.iter().all(|one| one["kiln"] == "Small kiln"));
    // Once the entry of the other is changed, its fit is out of use.
    sqlx::query("UPDATE kilns SET power_kw = 3 WHERE name = 'Small kiln'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    proposed(&studio, &owner).await;
    assert_eq!(self::longer(&studio).await, None);
}
