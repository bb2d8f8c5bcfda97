//! Quotes in another currency than the studio's: reckoned, invoiced and paid in it, booked in the
//! studio's at the rate of the quote.

use axum::http::StatusCode;

use crate::invoices::{client, draft, issue, issued, one};
use crate::support::builders_orders::{alloy, link, order, post, price, rates, turned};
use crate::support::studio::{Actor, Studio, moment};

struct Shop {
    studio: Studio,
    owner: Actor,
    number: i32,
}

async fn shop() -> Shop {
    let studio = Studio::open().await;
    rates(&studio.db.pool).await;
    let alloy = alloy(&studio.db.pool, "Test silver", 10.0).await;
    price(&studio.db.pool, ("alloy", &alloy.to_string(), "g"), "0.80", "2026-11-25").await;
    let owner = studio.owner().await;
    let number = order(&owner, alloy, 2).await;
    Shop { studio, owner, number }
}

impl Shop {
    async fn fields(&self, more: &[(&'static str, &str)]) -> Vec<(&'static str, String)> {
        let mut fields = turned(&self.studio, self.number, &[]).await;
        fields.extend(more.iter().map(|(name, value)| (*name, (*value).to_owned())));
        fields
    }

    async fn preview(&self, more: &[(&'static str, &str)]) -> crate::support::studio::Answer {
        let place = format!("/orders/{}/price/preview", self.number);
        post(&self.owner, &place, &self.fields(more).await).await
    }

    async fn keep(&self, more: &[(&'static str, &str)]) -> crate::support::studio::Answer {
        let place = format!("/orders/{}/price", self.number);
        post(&self.owner, &place, &self.fields(more).await).await
    }

    async fn sent(&self, more: &[(&'static str, &str)]) -> String {
        let kept = self.keep(more).await.led_to().to_owned();
        self.owner.post(&format!("{kept}/send"), &[("message", "")]).await.led_to();
        link(&self.owner, self.number).await
    }
}

fn figure(amount: &str) -> String {
    format!(">{amount}<span class=\"unit\">")
}

const DOLLARS: [(&str, &str); 3] =
    [("currency", "usd"), ("rate", "1.10"), ("rate_on", "2026-11-24")];

/// Dollars at 1.10, by hand: metal 125 g × 0.88 = 110.00, bench 33.00, finishing 52.80, set-up 22.00:
/// 217.80; overhead 21.78, cost 239.58; over 0.8 is 299.475, a piece 149.74, so 299.48; VAT 56.90,
/// total 356.38. Yen at 160 have no smaller unit (ISO 4217): 16000 + 4800 + 7680 + 3200 = 31680;
/// with overhead 34848; over 0.8 is 43560; VAT 8276.4, so 8276; total 51836.
#[tokio::test(flavor = "multi_thread")]
async fn costs_are_converted_at_the_rate_and_rounded_to_the_unit_of_the_quote() {
    let shop = shop().await;
    let page = shop.preview(&DOLLARS).await;
    for amount in ["110.00", "299.48", "56.90", "356.38"] {
        assert!(page.page().contains(&figure(amount)), "{amount}: {}", page.body);
    }
    for words in ["1 EUR = 1.1 USD", "price × rate", "0.88"] {
        assert!(page.body.contains(words), "{words}");
    }
    let yen = [("currency", "JPY"), ("rate", "160"), ("rate_on", "2026-11-25")];
    let page = shop.preview(&yen).await;
    for amount in ["43,560", "8,276", "51,836"] {
        let plain = amount.replace(',', "");
        let body = page.page().replace(['\u{202f}', '\u{2009}', '\u{a0}', ','], "");
        assert!(body.contains(&figure(&plain)), "{amount}: {}", page.body);
    }
    // What is missing or cannot be is told at its field, and kept.
    for (fields, words) in [
        (
            [("currency", "USD"), ("rate", ""), ("rate_on", "2026-11-24")],
            "How much USD one EUR buys is needed",
        ),
        ([("currency", "USD"), ("rate", "-1"), ("rate_on", "2026-11-24")], "value=\"-1\""),
        (
            [("currency", "USD"), ("rate", "1.1"), ("rate_on", "2026-11-26")],
            "This day has not come yet",
        ),
        (
            [("currency", "QQQ"), ("rate", "1.1"), ("rate_on", "2026-11-24")],
            "is not a currency code known here",
        ),
    ] {
        let wrong = shop.preview(&fields).await;
        assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY, "{words}");
        assert!(wrong.body.contains(words), "{words}: {}", wrong.body);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_currency_changed_in_mid_quote_is_asked_about_and_nothing_is_lost() {
    let shop = shop().await;
    shop.keep(&[("message", "Dear Ada")]).await.led_to();
    let asked = shop.keep(&DOLLARS).await;
    assert_eq!(asked.status, StatusCode::CONFLICT);
    assert!(asked.body.contains("is in EUR, this one would be in USD. Nothing was changed."));
    for kept in ["value=\"usd\"", "value=\"1.10\"", "name=\"other_currency\""] {
        assert!(asked.body.contains(kept), "{kept}: {}", asked.body);
    }
    let state =
        "SELECT string_agg(n || ' ' || currency || ' ' || trim_scale(total), ', ') FROM quotes";
    assert_eq!(one(&shop.studio, state).await, "1 EUR 323.99");
    let meant = [&DOLLARS[..], &[("other_currency", "yes")]].concat();
    shop.keep(&meant).await.led_to();
    assert_eq!(one(&shop.studio, state).await, "1 USD 356.38");
    // A quote that was sent stays as it was; the next may be in another currency when that is said.
    shop.sent(&DOLLARS).await;
    assert_eq!(shop.keep(&[]).await.status, StatusCode::CONFLICT);
    shop.keep(&[("other_currency", "yes")]).await.led_to();
    assert_eq!(one(&shop.studio, state).await, "1 USD 356.38, 2 EUR 323.99");
    let changed = shop.owner.get(&format!("/orders/{}/quotes/2", shop.number)).await;
    assert!(changed.page().contains("rate of exchange"));
}

/// The deposit is half of 356.38, 178.19; 28.45 of it are tax. In euros at 1.10: 161.99 with 25.86.
#[tokio::test(flavor = "multi_thread")]
async fn invoices_and_payments_are_in_it_and_the_journal_balances_in_both() {
    let shop = shop().await;
    let page = shop.sent(&DOLLARS).await;
    let seen = shop.studio.stranger().get(&page).await;
    assert!(seen.page().contains(&figure("356.38")) && seen.body.contains("USD"));
    let yes = [("quote", "1"), ("name", "Ada Quill")];
    shop.studio.stranger().post(&format!("{page}/yes"), &yes).await.led_to();
    let deposit = issued(&shop.owner, shop.number, "deposit").await;
    let page = shop.owner.get(&deposit).await;
    assert!(page.page().contains("1 EUR = 1.1 USD: net 136.13"), "{}", page.body);
    let rest = draft(&shop.owner, shop.number, "rest").await;
    issue(&shop.owner, &rest).await;
    let booked = "SELECT string_agg(currency || ' ' || trim_scale(total) || ' ' || booked_in || ' ' || trim_scale(booked_net) || ' ' || trim_scale(booked_total), '; ' ORDER BY number) FROM invoices";
    assert_eq!(
        one(&shop.studio, booked).await,
        "USD 178.19 EUR 136.13 161.99; USD 178.19 EUR 136.13 161.99"
    );

    let ada = client(&shop.studio).await;
    let account = format!("/clients/{ada}/account");
    assert!(shop.owner.get(&account).await.page().contains("Statement in USD"));
    let pay = |currency: &'static str, amount: &'static str| {
        let (owner, place) = (shop.owner.clone(), format!("/clients/{ada}/payments"));
        async move {
            let fields = [("amount", amount), ("currency", currency), ("on", "2026-11-25")];
            owner.post(&place, &fields).await
        }
    };
    let none = pay("GBP", "1").await;
    assert_eq!(none.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(none.body.contains("Choose one of these"));
    pay("USD", "356.38").await.led_to();
    let open = "SELECT trim_scale(sum(amount - settled))::text FROM entry_balances";
    assert_eq!(one(&shop.studio, open).await, "0");
    let payment = "SELECT trim_scale(booked)::text FROM client_entries WHERE kind = 'payment'";
    assert_eq!(one(&shop.studio, payment).await, "323.98");

    let journal = shop.owner.get("/exports/journal.json").await;
    let rows: Vec<serde_json::Value> = serde_json::from_str(journal.page()).unwrap();
    let number = |value: &serde_json::Value| -> rust_decimal::Decimal {
        match value {
            serde_json::Value::String(text) => text.parse().unwrap(),
            serde_json::Value::Number(number) => number.to_string().parse().unwrap(),
            _ => rust_decimal::Decimal::ZERO,
        }
    };
    let mut sums = std::collections::BTreeMap::<String, [rust_decimal::Decimal; 2]>::new();
    for row in &rows {
        assert_eq!(
            (row["currency"].as_str(), row["booked_in"].as_str()),
            (Some("USD"), Some("EUR"))
        );
        let sum = sums.entry(row["entry_id"].as_str().unwrap().to_owned()).or_default();
        sum[0] += number(&row["debit"]) - number(&row["credit"]);
        sum[1] += number(&row["booked_debit"]) - number(&row["booked_credit"]);
    }
    assert_eq!(sums.len(), 3);
    assert!(sums.values().flatten().all(rust_decimal::Decimal::is_zero), "{sums:?}");
}

/// Ten cents more a gram are 125 × 0.10 × 1.10 = 13.75 dollars, VAT 2.61: 372.74.
#[tokio::test(flavor = "multi_thread")]
async fn metal_of_the_day_moves_at_the_rate_of_the_quote() {
    let shop = shop().await;
    let fields = [&DOLLARS[..], &[("metal_rule", "day_of_yes")]].concat();
    let page = shop.sent(&fields).await;
    let item = one(&shop.studio, "SELECT id::text FROM alloys").await;
    price(&shop.studio.db.pool, ("alloy", &item, "g"), "0.90", "2026-11-26").await;
    shop.studio.clock.set(moment("2026-11-26T09:00:00Z"));
    let seen = shop.studio.stranger().get(&page).await;
    assert!(seen.page().contains(&figure("372.74")), "{}", seen.body);
}
