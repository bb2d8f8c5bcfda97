//! Trials: a fair draw, a number settled before, an answer that can become the usual choice.

use axum::http::StatusCode;
use pourday::id::PieceId;
use pourday::pieces::{self, Act, Happening, Stage};

use crate::support::studio::{Actor, Answer, Studio};

const QUESTION: [(&str, &str); 8] = [
    ("question", "Are heavy supports needed?"),
    ("setting", "supports"),
    ("first_arm", "heavy"),
    ("second_arm", "light"),
    ("stage", "print"),
    ("first_yield", "98"),
    ("second_yield", "30"),
    ("power", "80"),
];

async fn version(studio: &Studio) -> String {
    let version: i64 =
        sqlx::query_scalar("SELECT version FROM trials").fetch_one(&studio.db.pool).await.unwrap();
    version.to_string()
}

async fn draw(studio: &Studio, actor: &Actor, labels: &[String]) -> Answer {
    let seen = version(studio).await;
    let mut form = vec![("version", seen)];
    for label in labels {
        form.push(("pieces", studio.attempt_of(label).await.to_string()));
    }
    let form: Vec<(&str, &str)> =
        form.iter().map(|(name, value)| (*name, value.as_str())).collect();
    actor.post("/trials/1/pieces", &form).await
}

/// The attempts that were drawn and have not been printed.
async fn unprinted(studio: &Studio) -> Vec<(PieceId, i16)> {
    sqlx::query_as(
        "SELECT a.piece_id, x.arm FROM trial_pieces x JOIN attempts a ON a.id = x.attempt_id
         WHERE NOT EXISTS (SELECT 1 FROM attempt_stages g WHERE g.attempt_id = a.id) ORDER BY x.n",
    )
    .fetch_all(&studio.db.pool)
    .await
    .unwrap()
}

/// Prints everything that was drawn: the second arm fails, the first comes out.
async fn print_all(studio: &Studio) {
    let mut conn = studio.db.pool.acquire().await.unwrap();
    let act = Act::new(studio.clock.now(), None);
    for (piece, arm) in unprinted(studio).await {
        let end = if arm == 2 {
            Happening::Failed(Stage::Print, "came off the supports".to_owned())
        } else {
            Happening::Finished(Stage::Print)
        };
        for happening in [Happening::Entered(Stage::Print), end] {
            pieces::record(&mut conn, &[piece], &happening, &act).await.unwrap();
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_trial_is_drawn_evenly_answered_at_its_number_and_becomes_the_usual_choice() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    studio.print_room().await;
    assert!(owner.get("/trials").await.page().contains("Ask the first question"));
    assert_eq!(owner.post("/trials", &QUESTION).await.led_to(), "/trials/1");
    // scipy 1.17.1, stats.fisher_exact on every outcome of n against n, weighted by
    // stats.binom.pmf at 0.98 and 0.30: the chance of a p below 0.05 is 0.7648 for n = 8 and
    // 0.8657 for n = 9.
    let each: i32 =
        sqlx::query_scalar("SELECT each_arm FROM trials").fetch_one(&studio.db.pool).await.unwrap();
    assert_eq!(each, 9);
    let labels = studio.pieces(2 * each, None).await;
    draw(&studio, &owner, &labels).await.led_to();
    let arms: Vec<i64> = sqlx::query_scalar("SELECT count(*) FROM trial_pieces GROUP BY arm")
        .fetch_all(&studio.db.pool)
        .await
        .unwrap();
    assert!(arms.iter().all(|n| (*n - i64::from(each)).abs() <= 1), "{arms:?}");

    // Whoever lays out the plate sees how each piece was drawn.
    let page = owner.get("/plates/new").await;
    assert!(page.page().contains("trial 1: heavy") && page.body.contains("trial 1: light"));
    let page = owner.get("/trials/1").await;
    assert!(page.page().contains("Nothing is concluded before that"));
    let seen = version(&studio).await;
    let early = owner.post("/trials/1/usual", &[("version", &seen)]).await;
    assert_eq!(early.status, StatusCode::CONFLICT, "nothing is shown yet");

    print_all(&studio).await;
    // An uneven last block may leave one arm a piece short.
    let more = studio.pieces(4, None).await;
    draw(&studio, &owner, &more).await.led_to();
    assert_eq!(unprinted(&studio).await.len(), 4);
    print_all(&studio).await;
    let page = owner.get("/trials/1").await;
    assert!(page.page().contains("“heavy” came out better than “light”"), "{}", page.body);
    let seen = version(&studio).await;
    owner.post("/trials/1/usual", &[("version", &seen)]).await.led_to();
    let page = owner.get("/plates/new").await;
    assert!(page.page().contains("Usual here: heavy, by trial 1"));
    assert!(page.body.contains("<option value=\"heavy\" selected>"));

    // And back.
    let seen = version(&studio).await;
    owner.post("/trials/1/not-usual", &[("version", &seen)]).await.led_to();
    let page = owner.get("/plates/new").await;
    assert!(!page.page().contains("Usual here"));
    assert!(page.body.contains("<option value=\"medium\" selected>"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_draw_stands_and_what_has_moved_on_is_not_drawn() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    owner.post("/trials", &QUESTION).await.led_to();
    let labels = studio.pieces(2, None).await;
    studio.bring_to(&labels[1], Stage::Cure).await;
    let refused = draw(&studio, &owner, &labels).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("Nothing was drawn"));
    draw(&studio, &owner, &labels[..1]).await.led_to();
    let moved = sqlx::query("UPDATE trial_pieces SET arm = 3 - arm").execute(&studio.db.pool).await;
    assert!(moved.is_err(), "the database keeps the draw");
    let again = draw(&studio, &owner, &labels[..1]).await;
    assert_eq!(again.status, StatusCode::CONFLICT, "a piece is in one trial");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_trial_that_cannot_answer_is_not_begun() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let with = |name: &str, value: &'static str| {
        let mut form = QUESTION;
        for field in &mut form {
            if field.0 == name {
                field.1 = value;
            }
        }
        form
    };
    let close = maker.post("/trials", &with("second_yield", "97")).await;
    assert_eq!(close.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(close.body.contains("No trial can be planned like this"), "{}", close.body);
    assert!(close.body.contains("Are heavy supports needed?"), "what was typed is kept");
    let same = maker.post("/trials", &with("second_arm", "heavy")).await;
    assert!(same.body.contains("The two arms have to differ"));
    let same = maker.post("/trials", &with("second_arm", "Heavy")).await;
    assert!(same.body.contains("The two arms have to differ"), "capitals make no other arm");
    let unknown = maker.post("/trials", &with("first_arm", "stilts")).await;
    assert!(unknown.body.contains("One of light, medium, heavy is needed here"));
    let seen = [("version", "1")];
    assert_eq!(maker.post("/trials/1/end", &seen).await.status, StatusCode::FORBIDDEN);
}
