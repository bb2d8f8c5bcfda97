//! A failure recorded at a batch shows what it costs on the page it was recorded from.

use pourday::metal::{self, Account, Entry, Kind, Move};
use pourday::pieces::{self, Act, Happening, Stage};

use crate::support::studio::{Actor, Studio};

/// A studio through which five pieces came, two days to each stage, with rates for the bench.
/// It is Monday 7 December then.
async fn studio() -> (Studio, Actor, Actor) {
    let studio = Studio::with_workshop().await;
    sqlx::raw_sql("UPDATE studio SET bench_rate = 60, bench_minutes = 15")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let records = studio.pieces(5, None).await;
    studio.come_through(&records, 2).await;
    let (owner, maker) = (studio.owner().await, studio.maker().await);
    (studio, owner, maker)
}

/// What the panel of losses on a page says; nothing when it has none.
async fn panel(actor: &Actor, place: &str) -> Option<String> {
    let page = actor.get(place).await;
    let part = page.page().split("id=\"losses\"").nth(1)?.split("</section>").next()?;
    Some(part.to_owned())
}

/// The words of a part of a page.
fn words(part: &str) -> String {
    let text = pourday::web::Html::trusted(format!("<i {part}")).plain_text();
    text.replace(['\u{202f}', '\u{2009}', '\u{a0}'], " ")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plate_says_what_its_failures_cost_and_a_correction_takes_it_away() {
    let (studio, owner, maker) = studio().await;
    let room = studio.print_room().await;
    let labels = studio.pieces(3, Some("2026-12-18")).await;
    let mut attempts = Vec::new();
    for label in &labels {
        attempts.push(studio.attempt_of(label).await.to_string());
    }
    let mut form =
        vec![("printer", room.printer.as_str()), ("lot", &room.lot), ("supports", "medium")];
    form.extend(attempts.iter().map(|attempt| ("pieces", attempt.as_str())));
    let place = maker.post("/plates", &form).await.led_to().to_owned();
    maker.post(&format!("{place}/start"), &[("version", "1")]).await.led_to();
    sqlx::query("UPDATE printers SET hour_rate = 6").execute(&studio.db.pool).await.unwrap();
    sqlx::query("UPDATE plates SET estimated_min = 120").execute(&studio.db.pool).await.unwrap();
    studio.clock.set(studio.clock.now().plus_minutes(120));
    assert_eq!(panel(&owner, &place).await, None, "nothing failed yet");
    let causes = [format!("cause-{}", attempts[0]), format!("cause-{}", attempts[1])];
    let form = [
        ("version", "2"),
        ("failed", attempts[0].as_str()),
        (causes[0].as_str(), "delaminated"),
        ("failed", attempts[1].as_str()),
        (causes[1].as_str(), "layer shift"),
    ];
    assert_eq!(
        maker.post(&format!("{place}/finish"), &form).await.led_to(),
        place,
        "on that same page"
    );
    // Twelve days from Monday 7 December are Saturday 19, as it would have been: it failed in its
    // first stage.
    let told = panel(&owner, &place).await.unwrap();
    assert!(
        told.contains("delaminated") && told.contains("layer shift") && !told.contains(&labels[2]),
        "{told}"
    );
    assert!(told.contains("no day is lost"), "{told}");
    assert!(
        told.contains("<b class=\"late\">and after Fri 18 Dec"),
        "it is late all the same: {told}"
    );
    // Two hours of the printer at 6 for three pieces: 4 each, 8 for both.
    assert!(
        words(&told).contains("4.00 EUR spent in vain") && words(&told).contains("8.00 EUR in all"),
        "{told}"
    );
    let told = panel(&maker, &place).await.unwrap();
    assert!(
        told.contains("no day is lost") && !told.contains("EUR"),
        "money is the owner's: {told}"
    );
    let seen: i64 =
        sqlx::query_scalar("SELECT version FROM plates").fetch_one(&studio.db.pool).await.unwrap();
    maker.post(&format!("{place}/take-back"), &[("version", &seen.to_string())]).await.led_to();
    assert_eq!(panel(&owner, &place).await, None);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_cure_batch_and_a_single_piece_say_it_too() {
    let (studio, owner, maker) = studio().await;
    let labels = studio.pieces(2, Some("2026-12-20")).await;
    let mut form = vec![
        ("wash", "isopropyl alcohol".to_owned()),
        ("medium", "water".to_owned()),
        ("wash_minutes", "4".to_owned()),
        ("cure_minutes", "20".to_owned()),
    ];
    for label in &labels {
        studio.bring_to(label, Stage::Cure).await;
        form.push(("pieces", studio.attempt_of(label).await.to_string()));
    }
    let form: Vec<(&str, &str)> =
        form.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let place = maker.post("/cure", &form).await.led_to().to_owned();
    maker.post(&format!("{place}/begin"), &[("version", "1")]).await.led_to();
    let sure = ("sure", "yes");
    maker.post(&format!("{place}/washed"), &[("version", "2"), sure]).await.led_to();
    let failed = studio.attempt_of(&labels[0]).await.to_string();
    let cause = format!("cause-{failed}");
    let form =
        [("version", "3"), ("failed", failed.as_str()), (cause.as_str(), "still tacky"), sure];
    assert_eq!(maker.post(&format!("{place}/finish"), &form).await.led_to(), place);
    let told = panel(&owner, &place).await.unwrap();
    assert!(
        words(&told).contains("ready about 2 days later, due Sun 20 Dec"),
        "two days of print again: {told}"
    );
    assert!(told.contains("without the stages that have no rate"), "curing has none: {told}");
    let told = panel(&maker, &format!("/pieces/{}", labels[0])).await.unwrap();
    assert!(told.contains("still tacky") && told.contains("2 days"), "{told}");
    assert_eq!(panel(&maker, &format!("/pieces/{}", labels[1])).await, None);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tree_that_is_lost_says_it_on_the_page_of_its_flask() {
    let (studio, owner, maker) = studio().await;
    let labels = studio.pieces(2, Some("2026-12-20")).await;
    for label in &labels {
        studio.in_hand(label, Stage::Invest).await;
    }
    let number = studio.flask(&labels, "mixing").await;
    let place = format!("/flasks/{number}");
    assert_eq!(panel(&owner, &place).await, None);
    let lost = [("version", "1"), ("cause", "pattern bent or moved")];
    assert_eq!(maker.post(&format!("{place}/lost"), &lost).await.led_to(), place);
    let told = panel(&owner, &place).await.unwrap();
    assert!(told.contains(&labels[0]) && told.contains(&labels[1]), "{told}");
    assert!(words(&told).contains("ready about 4 days later"), "{told}");
    // A quarter of an hour at 60 for each.
    assert!(
        words(&told).contains("15.00 EUR spent in vain")
            && words(&told).contains("30.00 EUR in all"),
        "{told}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_and_a_pour_say_it_where_they_are_recorded() {
    let (studio, owner, maker) = studio().await;
    let now = studio.clock.now();
    let labels = studio.pieces(4, Some("2026-12-20")).await;
    for label in &labels {
        studio.bring_to(label, Stage::Burnout).await;
    }
    let (lost, poured) =
        (studio.flask(&labels[..2], "in_kiln").await, studio.flask(&labels[2..], "hot").await);
    let load = studio.held_load(&[lost, poured]).await;
    let mut conn = studio.db.pool.acquire().await.unwrap();
    let id = |label: &String| {
        let label = label.clone();
        let pool = studio.db.pool.clone();
        async move {
            let id: uuid::Uuid = sqlx::query_scalar("SELECT id FROM pieces WHERE label = $1")
                .bind(label)
                .fetch_one(&pool)
                .await
                .unwrap();
            id
        }
    };
    let act = Act::new(now, None);
    for label in &labels {
        let piece = pourday::id::PieceId(id(label).await);
        pieces::record(&mut conn, &[piece], &Happening::Entered(Stage::Burnout), &act)
            .await
            .unwrap();
    }
    for label in &labels[2..] {
        let piece = pourday::id::PieceId(id(label).await);
        pieces::record(&mut conn, &[piece], &Happening::Finished(Stage::Burnout), &act)
            .await
            .unwrap();
    }
    let (of_load, of_lost) = (format!("/loads/{load}"), format!("/flasks/{lost}"));
    assert_eq!(panel(&owner, &of_load).await, None);
    let form = [("version", "1"), ("cause", "mould cracked")];
    maker.post(&format!("{of_lost}/lost"), &form).await.led_to();
    for place in [&of_load, &of_lost] {
        let told = panel(&owner, place).await.unwrap();
        assert!(told.contains(&labels[0]) && told.contains("mould cracked"), "{place}: {told}");
        assert!(words(&told).contains("ready about 6 days later"), "{place}: {told}");
    }

    // One of two does not fill.
    let alloy = sqlx::query_scalar("SELECT alloy_id FROM order_lines l JOIN pieces p ON p.order_line_id = l.id WHERE p.label = $1")
        .bind(&labels[2])
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let mut tx = studio.db.pool.begin().await.unwrap();
    let entry = Entry::new(Kind::Bought, now, None, "test");
    metal::post(&mut tx, &entry, alloy, &[Move::new(Account::Supplier, Account::Fresh, 100_000)])
        .await
        .unwrap();
    tx.commit().await.unwrap();
    let failed = id(&labels[2]).await.to_string();
    let form = [
        ("fresh_g", "200"),
        ("returns_g", "0"),
        ("melt_c", "1000"),
        ("flask_c", "520"),
        ("method", "vacuum"),
        ("result", "short"),
        ("cover", "none"),
        ("failed", failed.as_str()),
        ("cause", "incomplete fill"),
    ];
    assert_eq!(panel(&owner, "/pours").await, None);
    assert_eq!(maker.post(&format!("/pours/{poured}"), &form).await.led_to(), "/pours");
    for place in ["/pours".to_owned(), format!("/flasks/{poured}"), of_load] {
        let told = panel(&owner, &place).await.unwrap();
        assert!(told.contains(&labels[2]) && !told.contains(&labels[3]), "{place}: {told}");
        assert!(words(&told).contains("ready about 8 days later"), "{place}: {told}");
    }
    // A day later it no longer stands at the furnace.
    studio.clock.set(now.plus_minutes(13 * 60));
    assert_eq!(panel(&owner, "/pours").await, None);
}
