//! Cure batches: washed, cured, each with a clock that survives, each tap once.

use axum::http::StatusCode;
use pourday::pieces::Stage;
use pourday::timers;

use crate::support::studio::{Actor, Answer, Studio};

async fn put_together(
    studio: &Studio,
    actor: &Actor,
    labels: &[String],
    wash: &str,
    cure: &str,
) -> Answer {
    let mut attempts = Vec::new();
    for label in labels {
        attempts.push(studio.attempt_of(label).await.to_string());
    }
    let mut form = vec![
        ("wash", "isopropyl alcohol"),
        ("wash_minutes", wash),
        ("medium", "glycerin"),
        ("cure_minutes", cure),
    ];
    form.extend(attempts.iter().map(|attempt| ("pieces", attempt.as_str())));
    actor.post("/cure", &form).await
}

async fn cured_pieces(studio: &Studio, n: i32) -> Vec<String> {
    let labels = studio.pieces(n, None).await;
    for label in &labels {
        studio.bring_to(label, Stage::Cure).await;
    }
    labels
}

#[tokio::test(flavor = "multi_thread")]
async fn a_batch_is_washed_then_cured_and_its_clock_survives() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = cured_pieces(&studio, 2).await;
    let place = put_together(&studio, &maker, &labels, "4", "25").await.led_to().to_owned();
    assert!(maker.get(&place).await.page().contains("flash point 11.7"));
    maker.post(&format!("{place}/begin"), &[("version", "1")]).await.led_to();
    assert_eq!(studio.state_of(&labels[0]).await, ("cure".into(), "in_hand".into(), 1));
    let now = studio.clock.now();
    // Another copy of the program, later: the clock goes on from the database.
    studio.clock.set(now.plus_minutes(3));
    let page = maker.get(&place).await;
    assert!(page.page().contains("01:00</time>"), "one minute of four is left");
    let early = [("version", "2"), ("sure", "yes")];
    maker.post(&format!("{place}/washed"), &early).await.led_to();
    let running = timers::running(&studio.db.pool).await.unwrap();
    assert_eq!((running.len(), running[0].name.as_str()), (1, "Cure"));
    assert_eq!(running[0].due_at, now.plus_minutes(28));
    let failed = studio.attempt_of(&labels[1]).await.to_string();
    let cause = format!("cause-{failed}");
    let form = [("version", "3"), ("failed", &failed), (&cause, "still tacky"), ("sure", "yes")];
    maker.post(&format!("{place}/finish"), &form).await.led_to();
    assert_eq!(studio.state_of(&labels[0]).await, ("invest".into(), "waiting".into(), 1));
    assert_eq!(studio.state_of(&labels[1]).await, ("print".into(), "waiting".into(), 2));
    assert!(timers::running(&studio.db.pool).await.unwrap().is_empty());
    assert!(maker.get(&place).await.page().contains("failed: still tacky"));
}

#[tokio::test(flavor = "multi_thread")]
async fn every_step_taps_once_and_old_pages_change_nothing() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = cured_pieces(&studio, 1).await;
    let place = put_together(&studio, &maker, &labels, "4", "25").await.led_to().to_owned();
    let begin = format!("{place}/begin");
    let (a, b) = tokio::join!(
        maker.post(&begin, &[("version", "1")]),
        maker.post(&begin, &[("version", "1")])
    );
    let mut both = [a.status, b.status];
    both.sort();
    assert_eq!(both, [StatusCode::SEE_OTHER, StatusCode::CONFLICT]);
    let early = maker.post(&format!("{place}/finish"), &[("version", "2")]).await;
    assert_eq!(early.status, StatusCode::CONFLICT);
    assert!(early.body.contains("is being washed by now"));
    let sure = ("sure", "yes");
    maker.post(&format!("{place}/washed"), &[("version", "2"), sure]).await.led_to();
    let again = maker.post(&format!("{place}/washed"), &[("version", "2")]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    let failed = studio.attempt_of(&labels[0]).await.to_string();
    let finish = format!("{place}/finish");
    let without = maker.post(&finish, &[("version", "3"), ("failed", &failed)]).await;
    assert_eq!(without.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(without.body.contains("Say why piece"));
    let key = ("once", "01890a5d-ac96-774b-bcce-b302099a8057");
    maker.post(&finish, &[("version", "3"), key, sure]).await.led_to();
    maker.post(&finish, &[("version", "3"), key, sure]).await.led_to();
    assert_eq!(studio.state_of(&labels[0]).await, ("invest".into(), "waiting".into(), 1));
    let other = maker.post(&finish, &[("version", "3")]).await;
    assert_eq!(other.status, StatusCode::CONFLICT);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pattern_is_in_one_batch_at_a_time() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = cured_pieces(&studio, 2).await;
    let place = put_together(&studio, &maker, &labels, "4", "25").await.led_to().to_owned();
    let second = put_together(&studio, &maker, &labels[..1], "4", "25").await;
    assert_eq!(second.status, StatusCode::CONFLICT);
    let said = format!("{} is in cure batch 31", labels[0]);
    assert!(second.body.contains(&said), "{}", second.body);
    let attempt = studio.attempt_of(&labels[0]).await.to_string();
    let out = format!("{place}/take-out");
    maker.post(&out, &[("version", "1"), ("piece", &attempt)]).await.led_to();
    let again = maker.post(&out, &[("version", "1"), ("piece", &attempt)]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    put_together(&studio, &maker, &labels[..1], "4", "25").await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn minutes_come_from_the_resin_or_must_be_told() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let stray = cured_pieces(&studio, 1).await;
    let answer = put_together(&studio, &maker, &stray, "", "").await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("The resin of these pieces is not known"));
    // Printed here, in a resin of 4 and 25 minutes.
    let label = studio.pieces(1, None).await.remove(0);
    let attempt = studio.attempt_of(&label).await.to_string();
    let form = [
        ("printer", room.printer.as_str()),
        ("lot", &room.lot),
        ("supports", "light"),
        ("pieces", &attempt),
    ];
    let plate = maker.post("/plates", &form).await.led_to().to_owned();
    maker.post(&format!("{plate}/start"), &[("version", "1")]).await.led_to();
    maker.post(&format!("{plate}/finish"), &[("version", "2"), ("sure", "yes")]).await.led_to();
    put_together(&studio, &maker, &[label], "", "").await.led_to();
    let minutes: (i32, i32) = sqlx::query_as("SELECT wash_minutes, cure_minutes FROM cure_batches")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(minutes, (4, 25));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_batch_without_a_wash_begins_with_the_cure_and_can_be_stopped() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = cured_pieces(&studio, 1).await;
    let place = put_together(&studio, &maker, &labels, "0", "10").await.led_to().to_owned();
    maker.post(&format!("{place}/begin"), &[("version", "1")]).await.led_to();
    assert_eq!(timers::running(&studio.db.pool).await.unwrap()[0].name, "Cure");
    maker.post(&format!("{place}/cancel"), &[("version", "2")]).await.led_to();
    assert_eq!(studio.state_of(&labels[0]).await, ("cure".into(), "waiting".into(), 1));
    assert!(timers::running(&studio.db.pool).await.unwrap().is_empty());
    let wrong = put_together(&studio, &maker, &labels, "601", "0").await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(maker.get("/cure?show=ended").await.page().contains("cancelled"));
    assert_eq!(maker.get("/cure/9999").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn hundreds_go_on_by_one_tap_with_two_picked_out_and_come_back_by_another() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = cured_pieces(&studio, 240).await;
    let place = put_together(&studio, &maker, &labels, "4", "25").await.led_to().to_owned();
    maker.post(&format!("{place}/begin"), &[("version", "1")]).await.led_to();
    maker.post(&format!("{place}/washed"), &[("version", "2"), ("sure", "yes")]).await.led_to();
    let page = maker.get(&place).await;
    assert_eq!(page.page().matches("name=\"failed\"").count(), labels.len());
    let mut failed = Vec::new();
    for label in &labels[..2] {
        failed.push(studio.attempt_of(label).await.to_string());
    }
    let causes: Vec<String> = failed.iter().map(|attempt| format!("cause-{attempt}")).collect();
    let mut form = vec![("version", "3"), ("sure", "yes")];
    for (attempt, cause) in failed.iter().zip(&causes) {
        form.extend([("failed", attempt.as_str()), (cause.as_str(), "warped")]);
    }
    maker.post(&format!("{place}/finish"), &form).await.led_to();
    let standing = async || -> Vec<(String, i64)> {
        sqlx::query_as("SELECT stage::text, count(*) FROM pieces GROUP BY 1 ORDER BY 1")
            .fetch_all(&studio.db.pool)
            .await
            .unwrap()
    };
    assert_eq!(standing().await, [("invest".to_owned(), 238), ("print".to_owned(), 2)]);
    maker.post(&format!("{place}/take-back"), &[("version", "4")]).await.led_to();
    assert_eq!(standing().await, [("cure".to_owned(), 240)]);
}
