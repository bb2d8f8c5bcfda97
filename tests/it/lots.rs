//! From a lot of metal to the pieces it went into, and back.

use axum::http::StatusCode;
use pourday::id::AlloyId;

use crate::support::hot::pour;
use crate::support::studio::{Actor, Studio};

async fn buy(actor: &Actor, alloy: AlloyId, lot: &str, grams: &str, on: &str) {
    let alloy = alloy.to_string();
    let fields = [("alloy", alloy.as_str()), ("lot", lot), ("grams", grams), ("bought_on", on)];
    actor.post("/metal/buy", &fields).await.led_to();
}

async fn id_of(studio: &Studio, lot: &str) -> String {
    sqlx::query_scalar("SELECT id::text FROM metal_lots WHERE lot = $1")
        .bind(lot)
        .fetch_one(&studio.db.pool)
        .await
        .unwrap()
}

/// What each flask took of which lot and which returns, in the order of flasks.
async fn taken(studio: &Studio) -> Vec<String> {
    sqlx::query_scalar(
        "SELECT b.subject || ' ' || x.of || ' ' || x.cg FROM (
           SELECT u.batch_id, 'lot ' || l.lot AS of, u.cg FROM metal_batch_lots u JOIN metal_lots l ON l.id = u.lot_id
           UNION ALL SELECT r.batch_id, 'returns of ' || (f.number - (SELECT min(number) FROM flasks) + 1), r.cg FROM metal_batch_returns r
             JOIN pours p ON p.id = r.pour_id JOIN flasks f ON f.id = p.flask_id) x
         JOIN metal_batches b ON b.id = x.batch_id ORDER BY b.subject, x.of",
    )
    .fetch_all(&studio.db.pool)
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lot_tells_the_pieces_it_went_into_and_a_piece_its_lots() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let labels = studio.pieces(4, None).await;
    let alloy = studio.alloy_of(&labels[0]).await;
    buy(&owner, alloy, "A-17", "50", "2026-11-20").await;
    buy(&owner, alloy, "B-03", "100", "2026-11-24").await;
    assert!(
        owner
            .get(&format!("/metal/pieces/{}", labels[0]))
            .await
            .page()
            .contains("has not been poured")
    );

    // 60 g of fresh metal: the older lot is used up first.
    let one = studio.hot_flask(&[&labels[0]], 60.0).await;
    let sheet = owner.get("/pours").await;
    assert!(
        sheet.page().contains("the oldest first")
            && sheet.body.contains("all of A-17, 50.00 g left")
    );
    owner.post(&format!("/pours/{one}"), &pour(&[("fresh_g", "60")])).await.led_to();
    studio.cut_off(&owner, one, "15.50", "44.00").await;
    // Half new, half returns of the first.
    let two = studio.hot_flask(&[&labels[1]], 50.0).await;
    let charge = pour(&[("fresh_g", "20"), ("returns_g", "30")]);
    owner.post(&format!("/pours/{two}"), &charge).await.led_to();
    studio.cut_off(&owner, two, "15.50", "34.00").await;
    // Returns only: what is left of the first, then of the second.
    let three = studio.hot_flask(&[&labels[2]], 40.0).await;
    owner.post(&format!("/pours/{three}"), &pour(&[("returns_g", "40")])).await.led_to();
    assert_eq!(
        taken(&studio).await,
        [
            format!("flask:{one} lot A-17 5000"),
            format!("flask:{one} lot B-03 1000"),
            format!("flask:{two} lot B-03 2000"),
            format!("flask:{two} returns of 1 3000"),
            format!("flask:{three} returns of 1 1400"),
            format!("flask:{three} returns of 2 2600"),
        ]
    );

    let old = owner.get(&format!("/metal/lots/{}", id_of(&studio, "A-17").await)).await;
    for label in &labels[..3] {
        assert!(old.page().contains(label.as_str()), "{label}: {}", old.body);
    }
    assert!(!old.body.contains(&labels[3]), "what was not poured is in no lot");
    assert_eq!(old.body.matches("in returns or melted over").count(), 2);
    assert!(old.body.contains("Left, by the ledger") && old.body.contains("being made, here"));
    let back = owner.get(&format!("/metal/flasks/{three}")).await;
    for words in ["A-17", "B-03", "returns of <a", "All lots behind it"] {
        assert!(back.page().contains(words), "{words}: {}", back.body);
    }
    let piece = owner.get(&format!("/metal/pieces/{}", labels[1])).await;
    assert_eq!(piece.led_to(), format!("/metal/flasks/{two}"));
    let first = owner.get(&format!("/metal/flasks/{one}")).await;
    assert!(first.page().contains("B-03") && !first.body.contains("returns of <a"));
    assert!(owner.get(&format!("/metal/alloys/{alloy}")).await.page().contains("/metal/lots/"));
    assert_eq!(owner.get("/metal/flasks/99999").await.status, StatusCode::NOT_FOUND);

    // With the client: a recall has to reach it.
    studio.finish(&owner, &labels[0], "15.50", "14.20").await;
    studio.hand_over(&owner, &labels[0]).await;
    let old = owner.get(&format!("/metal/lots/{}", id_of(&studio, "A-17").await)).await;
    assert!(old.page().contains("with the client"));
}

#[tokio::test(flavor = "multi_thread")]
async fn lots_may_be_named_at_the_pour_and_what_cannot_be_is_told() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let labels = studio.pieces(2, None).await;
    let alloy = studio.alloy_of(&labels[0]).await;
    buy(&owner, alloy, "A-17", "50", "2026-11-20").await;
    buy(&owner, alloy, "B-03", "100", "2026-11-24").await;
    let (a, b) = (id_of(&studio, "A-17").await, id_of(&studio, "B-03").await);
    let (of_a, of_b) = (format!("lot_{a}"), format!("lot_{b}"));
    let flask = studio.hot_flask(&[&labels[0]], 60.0).await;
    let place = format!("/pours/{flask}");
    let with = |grams_a: &'static str, grams_b: &'static str| {
        let fields = pour(&[
            ("fresh_g", "60"),
            ("lot", &a),
            ("lot", &b),
            (&of_a, grams_a),
            (&of_b, grams_b),
        ]);
        let fields: Vec<(String, String)> =
            fields.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect();
        let (owner, place) = (owner.clone(), place.clone());
        async move {
            let fields: Vec<(&str, &str)> =
                fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
            owner.post(&place, &fields).await
        }
    };
    let short = with("10", "40").await;
    assert_eq!(short.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(short.body.contains("The lots come to 50.00 g and the fresh metal to 60.00 g"));
    assert!(short.body.contains("value=\"40\""), "what was typed is kept");
    let beyond = with("55", "5").await;
    assert_eq!(beyond.status, StatusCode::CONFLICT);
    assert!(beyond.body.contains("Of lot A-17 50.00 g are left, and 55.00 g were to be taken"));
    let all = pour(&[("fresh_g", "60"), ("all_lot", &a)]);
    let beyond = owner.post(&place, &all).await;
    assert_eq!(beyond.status, StatusCode::CONFLICT);
    assert!(taken(&studio).await.is_empty(), "what is refused takes nothing");
    with("20", "40").await.led_to();
    assert_eq!(
        taken(&studio).await,
        [format!("flask:{flask} lot A-17 2000"), format!("flask:{flask} lot B-03 4000")]
    );

    // Counted less than the ledger thought: the oldest lot is the shorter for it.
    let id = alloy.to_string();
    let seen = [("fresh", "85.00"), ("seen_fresh", "9000"), ("confirmed", "yes")];
    owner.post(&format!("/metal/alloys/{id}/count"), &seen).await.led_to();
    let left: Vec<i64> = sqlx::query_scalar("SELECT left_cg FROM metal_lots_left ORDER BY lot")
        .fetch_all(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(left, [2_500, 6_000]);
    // The pour was noted wrongly and its metal is taken back: the lots have it again.
    let entry: uuid::Uuid = sqlx::query_scalar("SELECT metal_batch_id FROM pours")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    owner.post(&format!("/metal/entries/{entry}"), &[("reason", "another flask")]).await.led_to();
    let page = owner.get(&format!("/metal/lots/{a}")).await;
    assert!(page.page().contains(">45.00<") && page.body.contains("counted"), "{}", page.body);
    assert!(!page.body.contains(&format!("Flask {flask}")));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_melt_hands_its_lots_on_to_the_lot_it_makes() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let labels = studio.pieces(1, None).await;
    let sterling = studio.alloy_of(&labels[0]).await;
    let pool = &studio.db.pool;
    let fine = crate::support::builders_orders::alloy(pool, "Fine silver", 10.5).await;
    for (sql, alloy) in [
        ("DELETE FROM alloy_parts WHERE alloy_id = $1", fine),
        ("INSERT INTO alloy_parts VALUES ($1, 'Ag', 999)", fine),
        ("INSERT INTO alloy_parts VALUES ($1, 'Ag', 925), ($1, 'Cu', 75)", sterling),
    ] {
        sqlx::query(sql).bind(alloy).execute(pool).await.unwrap();
    }
    buy(&owner, fine, "F-1", "80", "2026-11-20").await;
    buy(&owner, sterling, "S-1", "20", "2026-11-20").await;
    let (from, into) = (fine.to_string(), sterling.to_string());
    let melt = [
        ("alloy", from.as_str()),
        ("account", "fresh"),
        ("grams", "40"),
        ("metal", "Ag"),
        ("target", "925"),
        ("step", "0.01"),
        ("with", into.as_str()),
        ("add", "10"),
        ("into", into.as_str()),
        ("after", "49.90"),
    ];
    // More than there is to add: refused, with the ways to the fineness still on the page.
    let beyond = melt.map(|(name, value)| match name {
        "add" => (name, "1000"),
        "target" => (name, "950"),
        _ => (name, value),
    });
    let refused = owner.post("/metal/melt", &beyond).await;
    assert_eq!(refused.status, StatusCode::CONFLICT, "{}", refused.body);
    assert!(refused.body.contains("<h2>With "), "{}", refused.body);
    // Brass would reach the fineness too, with zinc: told apart, and not to be posted.
    let brass = crate::support::builders_orders::alloy(pool, "Brass", 8.5).await;
    for sql in [
        "DELETE FROM alloy_parts WHERE alloy_id = $1",
        "INSERT INTO alloy_parts VALUES ($1, 'Cu', 850), ($1, 'Zn', 150)",
    ] {
        sqlx::query(sql).bind(brass).execute(pool).await.unwrap();
    }
    let asked =
        format!("/metal/melt?alloy={from}&account=fresh&grams=40&metal=Ag&target=950&step=0.01");
    let page = owner.get(&asked).await;
    let (ways, strange) = page.page().split_once("id=\"strange\"").expect("brass is told apart");
    assert!(ways.contains("<h2>With "), "{ways}");
    assert!(!ways.contains("<h2>With Brass"), "{ways}");
    assert!(strange.contains("Brass") && strange.contains("Zn"), "{strange}");
    assert!(!strange.contains("Post this melt"), "{strange}");
    owner.post("/metal/melt", &melt).await.led_to();
    let made: String = sqlx::query_scalar("SELECT lot FROM metal_lots WHERE origin = 'melted'")
        .fetch_one(pool)
        .await
        .unwrap();
    assert_eq!(made, "melt of 2026-11-25");
    // Ten of the old lot are left; the pour takes them and then the melt.
    let flask = studio.hot_flask(&[&labels[0]], 30.0).await;
    owner.post(&format!("/pours/{flask}"), &pour(&[("fresh_g", "30")])).await.led_to();
    let page = owner.get(&format!("/metal/lots/{}", id_of(&studio, "F-1").await)).await;
    assert!(page.page().contains(labels[0].as_str()), "{}", page.body);
    let back = owner.get(&format!("/metal/flasks/{flask}")).await;
    for words in ["S-1", "melt of 2026-11-25", "F-1"] {
        assert!(back.page().contains(words), "{words}: {}", back.body);
    }
}
