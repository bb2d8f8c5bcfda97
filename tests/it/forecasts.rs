//! Whether forecasts of filling and feeding came true, and what is taken over from that.

use axum::http::StatusCode;
use pourday::metal::{self, Account, Entry, Kind, Move};
use pourday::pieces::Stage;

use crate::support::studio::{Actor, Studio};

/// Castings with a forecast: so many of them, at cast, in hand of nobody.
async fn said(studio: &Studio, what: &str, verdict: &str, copies: i32) -> Vec<String> {
    let labels = studio.pieces(copies, None).await;
    for label in &labels {
        studio.bring_to(label, Stage::Cast).await;
        let attempt = studio.attempt_of(label).await;
        sqlx::query(
            "INSERT INTO forecasts (attempt_id, what, verdict, design_version_id, at)
             SELECT $1, $2, $3, l.design_version_id, $4 FROM attempts t JOIN pieces p ON p.id = t.piece_id
             JOIN order_lines l ON l.id = p.order_line_id WHERE t.id = $1",
        )
        .bind(attempt)
        .bind(what)
        .bind(verdict)
        .bind(studio.clock.now())
        .execute(&studio.db.pool)
        .await
        .unwrap();
    }
    labels
}

/// Castings that had to run a way of 5 to 80 mm, one each, and whether they filled.
async fn run(studio: &Studio, actor: &Actor, ways_mm: &[f64], filled: bool) {
    let labels = said(studio, "fill", "doubtful", i32::try_from(ways_mm.len()).unwrap()).await;
    for (label, way) in labels.iter().zip(ways_mm) {
        let figures = serde_json::json!({
            "run_mm": way, "shortest_mm": 5.0, "longest_mm": 80.0, "thickness_mm": 1.0,
        });
        sqlx::query("UPDATE forecasts SET figures = $2 WHERE attempt_id = $1")
            .bind(studio.attempt_of(label).await)
            .bind(figures)
            .execute(&studio.db.pool)
            .await
            .unwrap();
        if filled {
            finished(studio, label).await;
        } else {
            failed(studio, actor, label, "cast", "incomplete fill").await;
        }
    }
}

async fn failed(studio: &Studio, actor: &Actor, label: &str, stage: &str, cause: &str) {
    let seen = studio.version_of(label).await;
    let form = [("version", seen.as_str()), ("stage", stage), ("cause", cause)];
    actor.post(&format!("/pieces/{label}/failed"), &form).await.led_to();
}

/// A piece at finish is finished, as the bench would record it.
async fn finished(studio: &Studio, label: &str) {
    studio.bring_to_from(label, Stage::Cast, Stage::Finish).await;
    let mut conn = studio.db.pool.acquire().await.unwrap();
    let piece = sqlx::query_scalar("SELECT id FROM pieces WHERE label = $1")
        .bind(label)
        .fetch_one(&mut *conn)
        .await
        .unwrap();
    let act = pourday::pieces::Act::new(studio.clock.now(), None);
    for happening in [
        pourday::pieces::Happening::Entered(Stage::Finish),
        pourday::pieces::Happening::Finished(Stage::Finish),
    ] {
        pourday::pieces::record(&mut conn, &[piece], &happening, &act).await.unwrap();
    }
}

/// The words of the row of a verdict on the page of forecasts.
async fn row(actor: &Actor, part: &str, verdict: &str) -> String {
    let page = actor.get("/forecasts").await;
    let section = page.page().split(&format!("<h2>{part}</h2>")).nth(1).unwrap();
    let section = section.split("</section>").next().unwrap();
    let row = section.split(&format!("<b>{verdict}</b>")).nth(1).unwrap();
    let row = row.split("<tr><td><b>").next().unwrap();
    let words = pourday::web::Html::trusted(row.to_owned()).plain_text();
    words.replace(['\u{202f}', '\u{2009}', '\u{a0}'], " ")
}

async fn chances(studio: &Studio) -> Vec<f64> {
    sqlx::query_scalar("SELECT chance FROM forecast_chances")
        .fetch_all(&studio.db.pool)
        .await
        .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_claimed_before_anything_was_poured() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    assert!(maker.get("/forecasts").await.page().contains("No casting with a forecast"));
}

#[tokio::test(flavor = "multi_thread")]
async fn verdicts_are_laid_beside_what_became_of_the_castings() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let labels = said(&studio, "fill", "doubtful", 17).await;
    // Seven are finished, two fail for something else though they filled.
    for label in &labels[..7] {
        finished(&studio, label).await;
    }
    failed(&studio, &owner, &labels[7], "cast", "gas porosity").await;
    failed(&studio, &owner, &labels[8], "cast", "fins").await;
    // Five did not fill, of one that is seen at finish.
    for label in &labels[9..13] {
        failed(&studio, &owner, label, "cast", "incomplete fill").await;
    }
    studio.bring_to_from(&labels[13], Stage::Cast, Stage::Finish).await;
    failed(&studio, &owner, &labels[13], "finish", "incomplete fill").await;
    // A short charge and words of their own say nothing; the last is still at cast.
    failed(&studio, &owner, &labels[14], "cast", "short charge").await;
    failed(&studio, &owner, &labels[15], "cast", "the cat").await;
    let told = row(&owner, "Filling", "Doubtful").await;
    // Of fourteen nine filled. Wilson's interval of 9 of 14 worked by hand: 38.8 to 83.7 %.
    assert!(told.contains("3 still open or failed otherwise"), "{told}");
    assert!(told.contains("39 to 84 %"), "{told}");
    let (good, bad): (i64, i64) = (9, 5);
    let page = owner.get("/forecasts").await;
    assert!(page.page().contains(&format!("data-label=\"filled\">{good}<")), "{}", page.body);
    assert!(page.body.contains(&format!("data-label=\"Did not\">{bad}<")), "{}", page.body);
    assert!(row(&owner, "Filling", "Fills").await.contains("too few to say"));

    // It is taken over with one tap, shown, and given back with another.
    let estimates = owner.get("/estimates").await;
    assert!(estimates.page().contains("said “doubtful”"), "{}", estimates.body);
    let take = [("what", "chance"), ("item", "fill:doubtful"), ("after", "0.63")];
    let wrong = [("what", "chance"), ("item", "fill:doubtful"), ("after", "0.9")];
    assert_eq!(owner.post("/estimates/take", &wrong).await.status, StatusCode::CONFLICT);
    owner.post("/estimates/take", &take).await.led_to();
    assert_eq!(chances(&studio).await, [0.63]);
    assert!(row(&owner, "Filling", "Doubtful").await.contains("taken to mean 63 %"));
    assert_eq!(owner.post("/estimates/take", &take).await.status, StatusCode::CONFLICT);
    let id: uuid::Uuid = sqlx::query_scalar("SELECT id FROM learned_settings")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    owner.post(&format!("/estimates/{id}/reverse"), &[]).await.led_to();
    assert_eq!(chances(&studio).await, [0.0; 0], "it means what its word says");
    assert!(!row(&owner, "Filling", "Doubtful").await.contains("taken to mean"));
}

#[tokio::test(flavor = "multi_thread")]
async fn feeding_is_told_by_pores_that_were_found_and_a_claim_may_be_refuted() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let labels = said(&studio, "feed", "yes", 12).await;
    finished(&studio, &labels[0]).await;
    // Pores show only at finish: what failed at cast says nothing of them.
    failed(&studio, &owner, &labels[1], "cast", "gas porosity").await;
    for label in &labels[2..] {
        studio.bring_to_from(label, Stage::Cast, Stage::Finish).await;
        failed(&studio, &owner, label, "finish", "shrinkage porosity").await;
    }
    let told = row(&owner, "Feeding", "Fed to the end").await;
    assert!(told.contains("not borne out") && told.contains("1 still open"), "{told}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_limit_of_a_verdict_is_learned_from_castings_taken_over_and_given_back() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    run(&studio, &owner, &[4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0, 15.0, 21.0], true)
        .await;
    let page = owner.get("/forecasts").await;
    assert!(
        page.page().contains("12 came out and 0 did not; a limit needs 20 castings, 5 of either"),
        "{}",
        page.body
    );
    run(&studio, &owner, &[12.5, 16.0, 18.0, 20.0, 24.0, 30.0, 40.0, 60.0], false).await;
    let page = owner.get("/forecasts").await;
    assert!(page.page().contains("Where the limit lies here"), "{}", page.body);
    assert!(page.body.contains("20 castings"), "{}", page.body);
    let estimates = owner.get("/estimates").await;
    let offered = |item: &str| -> String {
        let form =
            estimates.page().split(&format!("name=\"item\" value=\"{item}\"")).nth(1).unwrap();
        let after = form.split("name=\"after\" value=\"").nth(1).unwrap();
        after.split('"').next().unwrap().to_owned()
    };
    let (yes, no) = (offered("fill:yes"), offered("fill:no"));
    // Half of them fill a little beyond 13 mm: ln(13 / 5) / ln(16) is 0.34.
    let middle = (yes.parse::<f64>().unwrap() + no.parse::<f64>().unwrap()) / 2.0;
    assert!((middle - 0.37).abs() < 0.08, "{yes} to {no}");
    for (item, after) in [("fill:yes", &yes), ("fill:no", &no)] {
        let take = [("what", "limit"), ("item", item), ("after", after.as_str())];
        owner.post("/estimates/take", &take).await.led_to();
    }
    let kept = async || -> Vec<(String, f64)> {
        sqlx::query_as("SELECT verdict, limit_at FROM forecast_limits ORDER BY verdict DESC")
            .fetch_all(&studio.db.pool)
            .await
            .unwrap()
    };
    let (yes, no) = (yes.parse().unwrap(), no.parse().unwrap());
    assert_eq!(kept().await, [("yes".to_owned(), yes), ("no".to_owned(), no)]);
    let taken = owner.get("/estimates").await;
    assert!(taken.page().contains("Filling, called “will not fill” from"), "{}", taken.body);
    let ids: Vec<uuid::Uuid> = sqlx::query_scalar("SELECT id FROM learned_settings")
        .fetch_all(&studio.db.pool)
        .await
        .unwrap();
    for id in ids {
        owner.post(&format!("/estimates/{id}/reverse"), &[]).await.led_to();
    }
    assert!(kept().await.is_empty(), "the lines are drawn by the calculation again");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pour_keeps_what_was_forecast_and_the_designs_page_shows_what_it_was_worth() {
    let studio = Studio::with_workshop().await;
    let alloy =
        crate::support::builders_orders::alloy(&studio.db.pool, "Sterling silver", 10.36).await;
    sqlx::query("UPDATE alloys SET solidus_c = 802, liquidus_c = 893, melt_c = 970, flask_c = 520")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let owner = studio.owner().await;
    let plate = crate::support::builders_orders::block([12.0, 8.0, 1.25]);
    let place = owner
        .upload("/designs/new", &[], &[("models", "plate.stl", &plate)])
        .await
        .led_to()
        .to_owned();
    sqlx::query("DELETE FROM jobs WHERE kind = 'feed'").execute(&studio.db.pool).await.unwrap();
    let (_stop, mut stopped) = tokio::sync::watch::channel(false);
    let worker = pourday::jobs::Worker::new(studio.app.clone(), pourday::server::kinds());
    while worker.run_one(&mut stopped).await.unwrap() {}
    let page = owner.get(&place).await;
    assert!(
        page.page().contains("No casting with this verdict has come to its end"),
        "{}",
        page.body
    );

    let labels = studio.pieces(2, None).await;
    sqlx::query(
        "UPDATE order_lines SET alloy_id = $1, design_version_id = (SELECT v.id FROM design_versions v WHERE v.file_name = 'plate.stl')",
    )
    .bind(alloy)
    .execute(&studio.db.pool)
    .await
    .unwrap();
    for label in &labels {
        studio.bring_to(label, Stage::Cast).await;
    }
    let number = studio.flask(&labels, "hot").await;
    studio.held_load(&[number]).await;
    let mut tx = studio.db.pool.begin().await.unwrap();
    let entry = Entry::new(Kind::Bought, studio.clock.now(), None, "test");
    let moves = [Move::new(Account::Supplier, Account::Fresh, 100_000)];
    metal::post(&mut tx, &entry, alloy, &moves).await.unwrap();
    tx.commit().await.unwrap();
    let form = [
        ("fresh_g", "200"),
        ("returns_g", "0"),
        ("melt_c", "970"),
        ("flask_c", "520"),
        ("method", "vacuum"),
        ("result", "good"),
        ("cover", "none"),
    ];
    owner.post(&format!("/pours/{number}"), &form).await.led_to();
    let kept: Vec<(String, String, f64)> = sqlx::query_as(
        "SELECT what, verdict, (figures ->> 'thickness_mm')::double precision FROM forecasts",
    )
    .fetch_all(&studio.db.pool)
    .await
    .unwrap();
    assert_eq!(kept.len(), 2, "one for each casting, of filling alone: {kept:?}");
    assert!(
        kept.iter().all(|(what, verdict, mm)| what == "fill"
            && verdict == "yes"
            && (mm - 1.25).abs() < 0.01),
        "{kept:?}"
    );
    failed(&studio, &owner, &labels[0], "finish", "incomplete fill").await;
    let page = owner.get(&place).await;
    assert!(page.page().contains("Of 1 piece said “fills”, 0 filled"), "{}", page.body);
    assert!(page.body.contains("0 of 1 of this design"), "{}", page.body);

    // With limits of the studio's own the same plate is called otherwise, and the page says by what.
    sqlx::query("INSERT INTO forecast_limits VALUES ('fill', 'yes', -6), ('fill', 'no', -5)")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let page = owner.get(&place).await;
    assert!(page.page().contains("<p class=\"verdict-word\">Will not fill</p>"), "{}", page.body);
    assert!(page.body.contains("By this studio's limit"), "{}", page.body);
    assert!(page.body.contains("By the calculation alone: fills"), "{}", page.body);
}
