//! Quotes: a price that can be checked by hand, or a clear word about what is missing.

use axum::http::StatusCode;

use crate::support::builders_orders::{
    alloy, link, order, post, price, rates, ready_to_price, send_quote, turned,
};
use crate::support::studio::{Actor, Answer, Studio};

async fn states(studio: &Studio) -> Vec<String> {
    sqlx::query_scalar("SELECT state FROM quotes ORDER BY n")
        .fetch_all(&studio.db.pool)
        .await
        .unwrap()
}

/// Worked by hand: two blocks of 6 cm³ at 10 g/cm³ weigh 60 g each; with 4 % lost, 62.5 g at 0.80
/// are 50.00 a piece. Bench 15 min at 60/h: 15.00. Finishing 30 min at 48/h: 24.00. Set-up 20 min: 20.00
/// once. Direct 2 × 89 + 20 = 198.00; overhead 10 %: 19.80; cost 217.80. A margin of 20 % of the net price
/// makes 272.25, a piece 136.125, rounded 136.13, so 272.26. VAT 19 %: 51.73; total 323.99; half of it 162.00.
#[tokio::test(flavor = "multi_thread")]
async fn a_price_is_what_a_pocket_calculator_says() {
    let (studio, owner, number) = ready_to_price().await;
    let page = owner.get(&format!("/orders/{number}/price")).await;
    for amount in [
        "100.00", "30.00", "48.00", "20.00", "19.80", "217.80", "136.13", "272.26", "51.73",
        "323.99", "162.00",
    ] {
        assert!(page.page().contains(&format!(">{amount}<span class=\"unit\">")), "{amount}");
    }
    assert!(page.body.contains("(1 − loss)"), "the amounts open into their working");
    let fields = turned(&studio, number, &[]).await;
    let draft = post(&owner, &format!("/orders/{number}/price"), &fields).await.led_to().to_owned();
    assert!(owner.get(&draft).await.page().contains(">323.99<span"));
    let (net, tax, total): (String, String, String) =
        sqlx::query_as("SELECT net::text, tax::text, total::text FROM quotes")
            .fetch_one(&studio.db.pool)
            .await
            .unwrap();
    assert_eq!((net.as_str(), tax.as_str(), total.as_str()), ("272.2600", "51.7300", "323.9900"));
}

#[tokio::test(flavor = "multi_thread")]
async fn turning_a_number_shows_what_comes_of_it_and_keeps_nothing() {
    let (studio, owner, number) = ready_to_price().await;
    let fields =
        turned(&studio, number, &[("margin_percent", "0"), ("discount_percent", "10")]).await;
    let answer = post(&owner, &format!("/orders/{number}/price/preview"), &fields).await;
    assert!(answer.page().contains(">217.80<span"), "without a margin the price is the cost");
    assert!(answer.body.contains("This is below cost."));
    assert!(states(&studio).await.is_empty());
    let wrong = turned(&studio, number, &[("margin_percent", "lots"), ("spares", "7")]).await;
    let answer = post(&owner, &format!("/orders/{number}/price/preview"), &wrong).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("“lots” is not a number."));
    assert!(answer.body.contains("value=\"7\""), "what was typed is kept");
}

#[tokio::test(flavor = "multi_thread")]
async fn without_a_price_nothing_is_quoted_and_the_alloy_is_named() {
    let studio = Studio::open().await;
    rates(&studio.db.pool).await;
    let bronze = alloy(&studio.db.pool, "Unpriced bronze", 8.8).await;
    let owner = studio.owner().await;
    let number = order(&owner, bronze, 1).await;
    let place = format!("/orders/{number}/price");
    let page = owner.get(&place).await;
    assert!(page.page().contains("Unpriced bronze has no price for today, and neither has Ag, Cu"));
    assert!(page.body.contains("href=\"/prices\""));
    let fields = turned(&studio, number, &[]).await;
    let kept = post(&owner, &place, &fields).await;
    assert_eq!(kept.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(states(&studio).await.is_empty());
    // 0.925 × 1.00 + 0.075 × 0.01 = 0.92575 for a gram; a price of tomorrow does not count today.
    price(&studio.db.pool, ("fine_metal", "Ag", "g"), "1.00", "2026-11-01").await;
    price(&studio.db.pool, ("fine_metal", "Ag", "g"), "9.00", "2026-11-26").await;
    price(&studio.db.pool, ("fine_metal", "Cu", "g"), "0.01", "2026-11-24").await;
    let page = owner.get(&place).await;
    assert!(page.page().contains("from the fine metals: Ag 0.925 × 1 + Cu 0.075 × 0.01"));
    // 6 cm³ × 8.8 g/cm³ ÷ 0.96 × 0.92575 = 50.916…
    assert!(page.body.contains(">50.92<span"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_design_without_a_size_is_not_priced() {
    let (studio, owner, number) = ready_to_price().await;
    sqlx::query("UPDATE design_versions SET unit = NULL").execute(&studio.db.pool).await.unwrap();
    let page = owner.get(&format!("/orders/{number}/price")).await;
    assert!(page.page().contains("has no size yet"));
    assert!(page.body.contains("href=\"/designs/301\""));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_sent_stays_and_a_new_one_replaces_it() {
    let (studio, owner, number) = ready_to_price().await;
    let first = send_quote(&studio, &owner, number).await;
    assert_eq!(states(&studio).await, ["sent"]);
    let cheaper = turned(&studio, number, &[("margin_percent", "10")]).await;
    let place = format!("/orders/{number}/price");
    let draft = post(&owner, &place, &cheaper).await.led_to().to_owned();
    assert_eq!(states(&studio).await, ["sent", "draft"], "the client still has the first");
    let again = post(&owner, &place, &turned(&studio, number, &[]).await).await;
    assert_eq!(again.led_to(), draft, "there is one draft");
    let send = format!("{draft}/send");
    owner.post(&send, &[]).await.led_to();
    assert_eq!(states(&studio).await, ["replaced", "sent"]);
    assert_eq!(owner.post(&send, &[]).await.status, StatusCode::CONFLICT, "sent once");
    assert_eq!(link(&owner, number).await, first, "the client's address stays");
}

#[tokio::test(flavor = "multi_thread")]
async fn all_that_is_wrong_is_told_at_once_and_also_while_it_is_being_turned() {
    let (studio, owner, number) = ready_to_price().await;
    let typed = [
        ("margin_percent", "abc"),
        ("discount_percent", "-10"),
        ("overhead_percent", "1000000000"),
        ("deposit_percent", "150"),
        ("valid_days", "0"),
    ];
    let fields = turned(&studio, number, &typed).await;
    let place = format!("/orders/{number}/price/preview");
    let whole = post(&owner, &place, &fields).await;
    assert_eq!(whole.status, StatusCode::UNPROCESSABLE_ENTITY);
    for (field, _) in typed {
        assert!(whole.body.contains(&format!("id=\"f-{field}-e\"")), "{field}");
    }
    assert!(whole.body.contains("Not worked out: 5 fields need a look."));
    let part = turning(&owner, &place, &fields).await;
    assert_eq!(part.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(part.body.starts_with("<div id=\"priced\">"), "a part of the page: {}", part.body);
    for (field, _) in typed {
        assert!(part.body.contains(&format!("data-field=\"{field}\"")), "{field}");
    }
}

/// Sends the fields as the page's script does while somebody turns them.
async fn turning(owner: &Actor, place: &str, fields: &[(&str, String)]) -> Answer {
    let body: String =
        fields.iter().map(|(name, value)| format!("{name}={}&", value.replace(' ', "+"))).collect();
    let request = owner
        .request("POST", place)
        .header("content-type", "application/x-www-form-urlencoded")
        .header("x-turning", "yes")
        .body(axum::body::Body::from(body))
        .unwrap();
    owner.send(request).await.0
}

/// 20.00 of set-up, 100.00 of metal, 30.00 of bench and 48.00 of finishing are 198.00; cost with
/// overhead 217.80, net 272.26, earned 54.46. At 0.9 of it 19.80 more are earned, at 1.2 39.60 less.
#[tokio::test(flavor = "multi_thread")]
async fn how_sure_the_cost_is_turns_with_the_price() {
    let (studio, owner, number) = ready_to_price().await;
    let mut fields = turned(&studio, number, &[("margin_percent", "20")]).await;
    let carried = "1001 0.9 1;1002 1.2 0.8;1003 1 1;1004 1.1 0.9";
    fields.push(("past", carried.to_owned()));
    let place = format!("/orders/{number}/price/preview");
    let part = turning(&owner, &place, &fields).await.body;
    assert!(part.contains("Like our last 4 orders"), "{part}");
    for amount in ["54.46", "74.26", "14.86"] {
        assert!(part.contains(&format!(">{amount}<span class=\"unit\">")), "{amount}: {part}");
    }
    assert!(part.contains("href=\"/orders/1002/quotes/actual\""));
    // What does not come from the page is not believed.
    fields.pop();
    fields.push(("past", "1001 x".to_owned()));
    let without = turning(&owner, &place, &fields).await.body;
    assert!(without.contains("54.46") && !without.contains("Like our last"), "{without}");
}

/// Three equal lines share the 20.00 of set-up: 6.67 each. A piece: metal 50.00, bench 15.00,
/// finishing 24.00, set-up 6.67 are 95.67; overhead 9.57; cost 105.24; over 0.8 is 131.55.
#[tokio::test(flavor = "multi_thread")]
async fn equal_pieces_have_equal_prices_on_whatever_line_they_stand() {
    let (studio, owner, number) = ready_to_price().await;
    let id: String =
        sqlx::query_scalar("SELECT id::text FROM alloys").fetch_one(&studio.db.pool).await.unwrap();
    let place = format!("/orders/{number}");
    let line = |n: u32| format!("{place}/lines/{n}");
    let version = async || turned(&studio, number, &[]).await[0].1.clone();
    let one = version().await;
    let single =
        [("version", one.as_str()), ("alloy", &id), ("quantity", "1"), ("finishing_minutes", "30")];
    owner.post(&line(1), &single).await.led_to();
    for _ in 0..2 {
        let now = version().await;
        let more = [
            ("version", now.as_str()),
            ("design", "301"),
            ("alloy", &id),
            ("quantity", "1"),
            ("finishing_minutes", "30"),
        ];
        owner.post(&format!("{place}/lines"), &more).await.led_to();
    }
    let fields = turned(&studio, number, &[]).await;
    post(&owner, &format!("{place}/price"), &fields).await.led_to();
    let prices = async || -> Vec<String> {
        sqlx::query_scalar(
            "SELECT round((l->'amounts'->>'list')::numeric, 2)::text FROM quotes, jsonb_array_elements(content->'lines') l",
        )
        .fetch_all(&studio.db.pool)
        .await
        .unwrap()
    };
    assert_eq!(prices().await, ["131.55", "131.55", "131.55"]);
    let page = owner.get(&format!("{place}/quotes/1")).await;
    assert!(page.page().contains("pieces of the line ÷ pieces of the order"), "the rule is told");
    // Set-up as a line of its own, and stones on the second line: bought in at 50.00, with
    // overhead and margin 50.00 × 1.1 ÷ 0.8 = 68.75.
    let mut fields = turned(&studio, number, &[("bought0_name", "cabochons")]).await;
    fields.retain(|(name, _)| *name != "bought0_amount");
    fields.extend([
        ("bought0_amount", "50".to_owned()),
        ("bought0_line", "2".to_owned()),
        ("set_up_as", "apart".to_owned()),
    ]);
    post(&owner, &format!("{place}/price"), &fields).await.led_to();
    // Alone 89.00 × 1.1 ÷ 0.8 = 122.375; with stones (139.00 + 13.90) ÷ 0.8 = 191.125.
    assert_eq!(prices().await, ["122.38", "191.13", "122.38", "27.50"]);
    let draft = format!("{place}/quotes/1");
    owner.post(&format!("{draft}/send"), &[]).await.led_to();
    let page = link(&owner, number).await;
    let client = studio.stranger().get(&page).await;
    assert!(
        client.page().contains("with cabochons") && client.body.contains("Set-up of the order")
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_bought_in_has_a_name_and_a_line() {
    let (studio, owner, number) = ready_to_price().await;
    let place = format!("/orders/{number}/price");
    let with = async |more: [(&'static str, &str); 4]| {
        let mut fields = turned(&studio, number, &[]).await;
        fields.retain(|(name, _)| !name.starts_with("bought"));
        fields.extend(more.map(|(name, value)| (name, value.to_owned())));
        post(&owner, &format!("{place}/preview"), &fields).await
    };
    let per = ("bought0_per", "piece");
    let nameless =
        with([("bought0_name", ""), ("bought0_amount", "50"), ("bought0_line", "1"), per]).await;
    assert_eq!(nameless.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(nameless.body.contains("the client reads it"));
    let nowhere =
        with([("bought0_name", "stones"), ("bought0_amount", "50"), ("bought0_line", ""), per])
            .await;
    assert!(nowhere.body.contains("Choose the line that it belongs to."));
    // 12.50 for each of two pieces: direct 198.00 + 25.00, with overhead 245.30.
    let each =
        with([("bought0_name", "a stone"), ("bought0_amount", "12.5"), ("bought0_line", "1"), per])
            .await;
    assert!(each.page().contains(">25.00<span") && each.body.contains(">245.30<span"));
    // Carriage belongs to no line: 20.00 × 1.1 ÷ 0.8.
    let apart = with([
        ("bought0_name", "Carriage"),
        ("bought0_amount", "20"),
        ("bought0_line", "apart"),
        per,
    ])
    .await;
    assert!(apart.page().contains(">27.50<span") && apart.body.contains("Carriage"));
    let gone =
        with([("bought0_name", "stones"), ("bought0_amount", "50"), ("bought0_line", "7"), per])
            .await;
    assert!(gone.page().contains("is bought in for a line that is not on the order any more"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_line_without_a_weight_leaves_the_others_their_price_and_is_not_sent() {
    let (studio, owner, number) = ready_to_price().await;
    let place = format!("/orders/{number}");
    let id: String =
        sqlx::query_scalar("SELECT id::text FROM alloys").fetch_one(&studio.db.pool).await.unwrap();
    let version = turned(&studio, number, &[]).await[0].1.clone();
    let fields = [
        ("version", version.as_str()),
        ("alloy", id.as_str()),
        ("quantity", "1"),
        ("finishing_minutes", "30"),
    ];
    let open = crate::support::builders_orders::open_block();
    owner
        .upload(&format!("{place}/files"), &fields, &[("models", "open.stl", &open)])
        .await
        .led_to();
    let page = owner.get(&format!("{place}/price")).await;
    assert!(page.page().contains("The price is of the other lines only."));
    assert!(page.body.contains("has no weight, because its surface is open"));
    assert!(page.body.contains(">100.00<span"), "the metal of the line that can be priced");
    let fields = turned(&studio, number, &[]).await;
    let draft = post(&owner, &format!("{place}/price"), &fields).await.led_to().to_owned();
    assert!(owner.get(&draft).await.page().contains("Not all of it has a price yet"));
    let refused = owner.post(&format!("{draft}/send"), &[]).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert_eq!(states(&studio).await, ["draft"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn sending_leads_to_the_letter_or_to_the_link() {
    let (studio, owner, number) = ready_to_price().await;
    let place = format!("/orders/{number}");
    let draft = async || {
        let fields = turned(&studio, number, &[]).await;
        post(&owner, &format!("{place}/price"), &fields).await.led_to().to_owned()
    };
    let first = draft().await;
    let page = owner.get(&first).await;
    assert!(page.page().contains("Make quote 1 final and show its link"));
    let sent = owner.post(&format!("{first}/send"), &[]).await;
    assert_eq!(sent.led_to(), format!("{place}/quotes"));
    let list = owner.get(&format!("{place}/quotes")).await;
    assert!(list.page().contains("has not opened it yet"));
    assert!(list.body.contains("copy this address and send it yourself"));
    sqlx::query("UPDATE clients SET email = 'ada@example.org'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let second = draft().await;
    assert!(owner.get(&second).await.page().contains("Make quote 2 final and write to the client"));
    let sent = owner.post(&format!("{second}/send"), &[]).await;
    let letter = sent.led_to().to_owned();
    assert!(letter.starts_with("/letters/"), "{letter}");
    let letter = owner.get(&letter).await;
    assert!(letter.page().contains("ada@example.org") && letter.body.contains("323.99"));
    assert!(letter.body.contains("/c/"), "the client's address stands in it");
    assert!(letter.body.contains("Send it as it is written here"), "a person sends it");
}

#[test]
fn half_a_unit_is_told_by_the_currency() {
    assert_eq!(pourday::quotes::half_unit("EUR"), "half a cent");
    assert_eq!(pourday::quotes::half_unit("GBP"), "half a penny");
    assert_eq!(pourday::quotes::half_unit("SEK"), "half an öre");
    assert_eq!(pourday::quotes::half_unit("KWD"), "half of 0.001 KWD");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_changed_order_outdates_its_quotes() {
    let (studio, owner, number) = ready_to_price().await;
    let place = format!("/orders/{number}");
    let fields = turned(&studio, number, &[]).await;
    let draft = post(&owner, &format!("{place}/price"), &fields).await.led_to().to_owned();
    let alloy: uuid::Uuid =
        sqlx::query_scalar("SELECT id FROM alloys").fetch_one(&studio.db.pool).await.unwrap();
    let alloy = alloy.to_string();
    let three = [("version", fields[0].1.as_str()), ("alloy", &alloy), ("quantity", "3")];
    owner.post(&format!("{place}/lines/1"), &three).await.led_to();
    let late = owner.post(&format!("{draft}/send"), &[]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("The order changed after this price was worked out"));
    let stale = post(&owner, &format!("{place}/price"), &fields).await;
    assert_eq!(stale.status, StatusCode::CONFLICT, "the form was made from the order as it was");
    send_quote(&studio, &owner, number).await;
    let version = turned(&studio, number, &[]).await[0].1.clone();
    let four = [("version", version.as_str()), ("alloy", &alloy), ("quantity", "4")];
    owner.post(&format!("{place}/lines/1"), &four).await.led_to();
    let page = owner.get(&place).await;
    assert!(page.page().contains("The quote no longer fits the order."));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_maker_sees_no_money() {
    let (studio, owner, number) = ready_to_price().await;
    send_quote(&studio, &owner, number).await;
    let maker = studio.maker().await;
    let place = format!("/orders/{number}");
    for path in ["/price", "/quotes", "/quotes/1"] {
        let answer = maker.get(&format!("{place}{path}")).await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN, "{path}");
    }
    for path in ["/price", "/price/preview", "/quotes/1/send", "/link", "/link/revoke"] {
        let answer = maker.post(&format!("{place}{path}"), &[]).await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN, "{path}");
    }
    let page = maker.get(&place).await;
    assert!(!page.page().contains("323.99"));
    assert!(!page.body.contains("EUR"));
}
