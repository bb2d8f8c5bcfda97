//! What works: counts, intervals, causes, and the table for a spreadsheet.

use pourday::pieces::Stage;

use crate::support::studio::Studio;

/// Sixteen pieces at cure, two of which have failed at print.
async fn printed(studio: &Studio) {
    let labels = studio.pieces(18, None).await;
    for label in &labels[2..] {
        studio.bring_to(label, Stage::Cure).await;
    }
    let maker = studio.maker().await;
    for label in &labels[..2] {
        let seen = studio.version_of(label).await;
        let failed = [("version", seen.as_str()), ("stage", "print"), ("cause", "delaminated")];
        maker.post(&format!("/pieces/{label}/failed"), &failed).await.led_to();
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_studio_is_told_what_will_stand_here() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    assert!(owner.get("/yields").await.page().contains("No piece has left a stage"));
    assert!(owner.get("/yields?from=yesterday&stage=x&by=y").await.page().contains("What works"));
}

#[tokio::test(flavor = "multi_thread")]
async fn yields_come_with_their_interval_and_causes_in_order() {
    let studio = Studio::open().await;
    printed(&studio).await;
    let owner = studio.owner().await;
    let answer = owner.get("/yields?stage=print&by=alloy").await;
    let page = answer.page();
    // Two of eighteen failed.
    assert!(page.contains("print: delaminated"), "{page}");
    assert!(page.contains("Limits need at least five weeks"));
    let table = owner.get("/yields/table.csv?stage=print&by=alloy").await;
    // The interval computed apart from this program: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209,
    // for 16 of 18 with z = 1.96: (0.8889 + 0.1067 ± 0.1810) / 1.2134.
    assert!(table.page().contains(",16,2,88.9,67.2,96.9"), "{}", table.body);
}

#[tokio::test(flavor = "multi_thread")]
async fn days_that_are_the_wrong_way_round_are_told() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let page = owner.get("/yields?from=2026-11-20&to=2026-11-19").await;
    assert!(page.page().contains("This day comes before the first one"), "{}", page.body);
    let page = owner.get("/yields?from=2026-11-20&to=2026-11-20").await;
    assert!(!page.page().contains("comes before"));
}

#[tokio::test(flavor = "multi_thread")]
async fn of_a_few_pieces_nothing_is_claimed_and_a_formula_stays_a_name() {
    let studio = Studio::open().await;
    let labels = studio.pieces(3, None).await;
    for label in &labels {
        studio.bring_to(label, Stage::Cure).await;
    }
    sqlx::query("UPDATE alloys SET name = '=SUM(A1)'").execute(&studio.db.pool).await.unwrap();
    let maker = studio.maker().await;
    assert!(maker.get("/yields?stage=print&by=alloy").await.page().contains("too few to say"));
    let table = maker.get("/yields/table.csv?stage=print&by=alloy").await;
    assert!(table.page().contains("\"'=SUM(A1)\",3,0,,,"), "{}", table.body);
}

#[tokio::test(flavor = "multi_thread")]
async fn counts_follow_what_is_taken_back_and_where_days_begin() {
    let studio = Studio::open().await;
    printed(&studio).await;
    let owner = studio.owner().await;
    let address = "/yields/table.csv?stage=print&by=alloy";
    assert!(owner.get(address).await.page().contains(",16,2,"));
    let label: String = sqlx::query_scalar("SELECT label FROM pieces WHERE attempt_n = 2 LIMIT 1")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let seen = studio.version_of(&label).await;
    owner.post(&format!("/pieces/{label}/undo"), &[("version", &seen)]).await.led_to();
    let after = owner.get(address).await.page().to_owned();
    assert!(after.contains(",16,1,"), "{after}");
    // Ten in the morning in Berlin is the evening before in Honolulu.
    sqlx::query("UPDATE studio SET time_zone = 'Pacific/Honolulu'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let day_before = owner.get(&format!("{address}&from=2026-11-24&to=2026-11-24")).await;
    assert_eq!(day_before.page(), after, "all of it fell on that day there");
    let the_day = owner.get(&format!("{address}&from=2026-11-25&to=2026-11-25")).await;
    assert_eq!(the_day.page().lines().count(), 1, "nothing but the head: {}", the_day.body);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_chosen_at_a_step_tells_pieces_apart_even_when_it_is_told_late() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let labels = studio.pieces(12, None).await;
    let mut places = Vec::new();
    for half in labels.chunks(6) {
        let mut form = vec![
            ("printer", room.printer.clone()),
            ("lot", room.lot.clone()),
            ("supports", "light".to_owned()),
        ];
        for label in half {
            form.push(("pieces", studio.attempt_of(label).await.to_string()));
        }
        let form: Vec<(&str, &str)> =
            form.iter().map(|(name, value)| (*name, value.as_str())).collect();
        let place = maker.post("/plates", &form).await.led_to().to_owned();
        maker.post(&format!("{place}/start"), &[("version", "1")]).await.led_to();
        places.push(place);
        let failed = studio.attempt_of(&half[0]).await.to_string();
        let cause = format!("cause-{failed}");
        let place = places.last().unwrap();
        let form = [("version", "2"), ("failed", failed.as_str()), (cause.as_str(), "delaminated")];
        studio.clock.set(studio.clock.now().plus_minutes(90));
        maker.post(&format!("{place}/finish"), &form).await.led_to();
    }
    let address = "/yields/table.csv?stage=print&by=print-vat-film";
    assert_eq!(maker.get(address).await.page().lines().count(), 1, "nothing was told yet");
    for (place, film) in places.iter().zip(["clear", "clouded"]) {
        let number = place.rsplit('/').next().unwrap();
        maker.post(&format!("/steps/print/{number}/vat"), &[("film", film)]).await.led_to();
    }
    let table = maker.get(address).await;
    assert!(
        table.page().contains("\"clear\",5,1,,,") && table.body.contains("\"clouded\",5,1,,,"),
        "{}",
        table.body
    );
    let season = maker.get("/yields/table.csv?stage=print&by=season").await;
    assert!(season.page().contains("\"September to November\",10,2,83.3"), "{}", season.body);
}

#[tokio::test(flavor = "multi_thread")]
async fn days_of_long_ago_are_counted_beside_the_pages() {
    let studio = Studio::open().await;
    printed(&studio).await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    // What came out is spread over nine days, none of which is counted.
    sqlx::query(
        "WITH n AS (SELECT attempt_id, stage, row_number() OVER (ORDER BY attempt_id) % 9 AS n FROM attempt_stages)
         UPDATE attempt_stages g SET finished_at = g.finished_at - n.n * interval '30 days', failed_at = g.failed_at - n.n * interval '30 days'
         FROM n WHERE n.attempt_id = g.attempt_id AND n.stage = g.stage",
    )
    .execute(pool)
    .await
    .unwrap();
    let marked = async || -> i64 {
        sqlx::query_scalar("SELECT count(DISTINCT on_day) FROM yield_marks")
            .fetch_one(pool)
            .await
            .unwrap()
    };
    let before = marked().await;
    assert!(before >= 9, "{before} days are marked");
    let address = "/yields/table.csv?stage=print&by=alloy";
    let page = owner.get("/yields?stage=print").await;
    assert!(page.page().contains("Older days are still being counted"), "{}", page.body);
    assert_eq!(marked().await, before - 2, "a page counts the two latest days and no more");
    let table = owner.get(address).await;
    assert_eq!(table.status, axum::http::StatusCode::CONFLICT, "no table that leaves days out");
    // What the server does beside its pages; nothing changes at pieces meanwhile.
    let counting = tokio::spawn(pourday::yields::keep_counted(studio.app.clone()));
    while marked().await > 0 {
        tokio::time::sleep(std::time::Duration::from_millis(10)).await;
    }
    counting.abort();
    assert!(owner.get(address).await.page().contains(",16,2,88.9,67.2,96.9"));
    let page = owner.get("/yields?stage=print").await;
    assert!(!page.page().contains("still being counted"), "{}", page.body);
}
