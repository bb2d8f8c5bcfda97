//! Numbers that cannot be, where money is typed: told at their field, kept, and nothing done.

use axum::http::StatusCode;

use crate::invoices::{agreed, client, draft, hidden, issue, one};
use crate::support::builders_orders::{
    alloy, link, order, post, price, rates, ready_to_price, turned,
};
use crate::support::studio::{Studio, moment};

/// A price that holds from tomorrow is none for today.
#[tokio::test(flavor = "multi_thread")]
async fn a_price_missing_for_a_date_is_named_and_nothing_is_guessed() {
    let studio = Studio::open().await;
    rates(&studio.db.pool).await;
    let silver = alloy(&studio.db.pool, "Test silver", 10.0).await;
    let item = silver.to_string();
    price(&studio.db.pool, ("alloy", &item, "g"), "0.80", "2026-11-26").await;
    let owner = studio.owner().await;
    let number = order(&owner, silver, 2).await;
    let fields = turned(&studio, number, &[]).await;
    let place = format!("/orders/{number}/price");
    let missing = post(&owner, &place, &fields).await;
    assert_eq!(missing.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(missing.body.contains("Test silver has no price for today"), "{}", missing.body);
    assert!(missing.body.contains("href=\"/prices\""), "and where it is put right");
    studio.clock.set(moment("2026-11-26T09:00:00Z"));
    post(&owner, &place, &fields).await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn margins_below_nothing_and_twelve_decimals_are_told_at_their_fields() {
    let (studio, owner, number) = ready_to_price().await;
    for (field, value) in [
        ("margin_percent", "-5"),
        ("margin_percent", "20.123456789012"),
        ("discount_percent", "-0.01"),
        ("deposit_percent", "100.01"),
        ("bought0_amount", "0.123456789012"),
        ("bought0_amount", "-1"),
        ("powder_kg", "0.123456789012"),
        ("metal_loss_percent", "1e2"),
    ] {
        let fields = turned(&studio, number, &[(field, value)]).await;
        for place in ["price/preview", "price"] {
            let wrong = post(&owner, &format!("/orders/{number}/{place}"), &fields).await;
            assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY, "{field} {value}");
            assert!(wrong.body.contains(&format!("value=\"{value}\"")), "{field} {value} is kept");
            let said = format!("class=\"error\" id=\"f-{field}-e\"");
            assert!(wrong.body.contains(&said), "{field} {value} is told at its field");
        }
    }
    assert_eq!(one(&studio, "SELECT count(*)::text FROM quotes").await, "0");
}

#[tokio::test(flavor = "multi_thread")]
async fn twelve_decimals_on_an_invoice_or_a_payment_are_told() {
    let (studio, owner, number) = agreed().await;
    let place = draft(&owner, number, "rest").await;
    let version = hidden(owner.get(&place).await.page(), "version");
    for (field, value) in
        [("price-1", "1.123456789012"), ("quantity-1", "1.123456789012"), ("discount-1", "0.001")]
    {
        let name = |of: &str| format!("{of}-1");
        let (words, quantity, cost, less, tax) =
            (name("words"), name("quantity"), name("price"), name("discount"), name("tax"));
        let mut fields = vec![
            ("version", version.as_str()),
            ("rows", "1"),
            ("due_days", "14"),
            (words.as_str(), "Ring"),
            (quantity.as_str(), "1"),
            (cost.as_str(), "10"),
            (less.as_str(), "0"),
            (tax.as_str(), "VAT 19"),
        ];
        fields.retain(|(name, _)| *name != field);
        fields.push((field, value));
        let wrong = owner.post(&place, &fields).await;
        assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}: {}", wrong.body);
        assert!(wrong.body.contains(&format!("value=\"{value}\"")), "{field} is kept");
    }
    let ada = client(&studio).await;
    let fields = [("amount", "1.123456789012"), ("on", "2026-11-25")];
    let wrong = owner.post(&format!("/clients/{ada}/payments"), &fields).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(one(&studio, "SELECT count(*)::text FROM client_entries").await, "0");
}

/// A price below cost may be meant; it is told beside the button that makes it final, with what it
/// loses. Priced by hand: 198.00 and 19.80 of overhead, 217.80 at no margin, 30 % off is 152.46.
#[tokio::test(flavor = "multi_thread")]
async fn a_quote_below_cost_says_so_where_it_is_made_final() {
    let (studio, owner, number) = ready_to_price().await;
    let draft = async |margin: &str, discount: &str| {
        let turns = [("margin_percent", margin), ("discount_percent", discount)];
        let fields = turned(&studio, number, &turns).await;
        let place = post(&owner, &format!("/orders/{number}/price"), &fields).await;
        owner.get(place.led_to()).await.page().to_owned()
    };
    let fair = draft("20", "0").await;
    assert!(!fair.contains("This quote is below cost"));
    let below = draft("0", "30").await;
    let told = below.split("This quote is below cost:</b>").nth(1).expect("it is told");
    let told = told.split("</p>").next().unwrap();
    assert!(told.contains(">65.34<span") && told.contains(&format!("/orders/{number}/price")));
    assert!(below.contains("\u{2212}42.9<span"), "in per cent of the net price: {below}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_no_number_is_told_as_it_was_typed() {
    let (studio, owner, _) = agreed().await;
    let place = format!("/clients/{}/payments", client(&studio).await);
    let wrong = owner.post(&place, &[("amount", "12,34,56"), ("on", "2026-11-25")]).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.body.contains("“12,34,56” is not a number."), "{}", wrong.body);
}

/// A quote whose metal is priced on the day of the yes, on a day that has no price: the client reads
/// why there is nothing to say yes to, and a yes from an older page changes nothing.
#[tokio::test(flavor = "multi_thread")]
async fn a_yes_on_a_day_without_a_metal_price_is_told_on_the_page() {
    let (studio, owner, number) = ready_to_price().await;
    let mut fields = turned(&studio, number, &[]).await;
    fields.push(("metal_rule", "day_of_yes".to_owned()));
    let draft = post(&owner, &format!("/orders/{number}/price"), &fields).await;
    owner.post(&format!("{}/send", draft.led_to()), &[("message", "")]).await.led_to();
    let (guest, page) = (studio.stranger(), link(&owner, number).await);
    assert!(guest.get(&page).await.page().contains("What you see is today’s."));
    sqlx::query("DELETE FROM prices").execute(&studio.db.pool).await.unwrap();
    let seen = guest.get(&page).await;
    assert!(seen.page().contains("has no price for today, so it cannot be accepted yet"));
    assert!(seen.body.contains("323.99") && !seen.body.contains("What you see is today’s."));
    assert!(!seen.body.contains("Yes, make it"), "{}", seen.body);
    let yes = [("quote", "1"), ("name", "Ada Quill"), ("total_0", "323.99")];
    let refused = guest.post(&format!("{page}/yes"), &yes).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert_eq!(one(&studio, "SELECT count(*)::text FROM pieces").await, "0");
}

/// An address has as many lines as it needs, on the page and on the invoice; a name has one.
#[tokio::test(flavor = "multi_thread")]
async fn an_address_keeps_its_lines_and_a_name_is_one_line() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let address = "Gilder's Yard 3\r\nSecond floor, left\r\nBath";
    let typed =
        [("name", "Ada\r\nQuill"), ("email", "ada@example.org\nBcc: x"), ("address", address)];
    let wrong = owner.post("/clients", &typed).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(wrong.body.matches("This must be a single line.").count(), 2, "{}", wrong.body);
    assert!(wrong.body.contains("Second floor, left"), "what was typed is kept");
    let typed = [("name", "Ada Quill"), ("email", "ada@example.org"), ("address", address)];
    owner.post("/clients", &typed).await.led_to();
    let draft = owner.post("/invoices", &[("client", &client(&studio).await)]).await;
    let draft = draft.led_to().to_owned();
    let version = hidden(owner.get(&draft).await.page(), "version");
    let line = [
        ("words-1", "Polishing"),
        ("quantity-1", "1"),
        ("price-1", "10"),
        ("discount-1", "0"),
        ("tax-1", ""),
    ];
    let rest = [("version", version.as_str()), ("rows", "1"), ("due_days", "14")];
    owner.post(&draft, &[line.as_slice(), rest.as_slice()].concat()).await.led_to();
    issue(&owner, &draft).await;
    let page = owner.get(&draft).await;
    let lines = page.page().split("<p class=\"lines\">").find(|part| part.starts_with("Gilder"));
    let lines: Vec<&str> = lines.unwrap().split("</p>").next().unwrap().lines().collect();
    assert_eq!(lines, ["Gilder&#39;s Yard 3", "Second floor, left", "Bath"]);
}
