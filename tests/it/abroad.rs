//! Quotes and invoices in another currency than the studio's: reckoned, invoiced and paid in it, booked in
//! the studio's at the rate of the price book or of the quote; what exchange gained or lost.

use axum::http::StatusCode;

use crate::invoices::{client, draft, issue, issued, one};
use crate::support::builders_orders::{link, post, price, ready_to_price, turned};
use crate::support::studio::{Actor, Studio, moment};

struct Shop {
    studio: Studio,
    owner: Actor,
    number: i32,
}

async fn shop() -> Shop {
    let (studio, owner, number) = ready_to_price().await;
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

async fn rate(owner: &Actor, code: &str, rate: &str, from: &str) {
    let what = format!("exchange:{code}");
    let fields = [("what", what.as_str()), ("amount", rate), ("per", ""), ("valid_from", from)];
    owner.post("/prices", &fields).await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn rates_stand_in_the_price_book_by_day_typed_pasted_and_corrected() {
    let shop = shop().await;
    rate(&shop.owner, "USD", "1.10", "2026-11-20").await;
    let page = shop.owner.get("/prices").await;
    assert!(page.page().contains("Rates of exchange"));
    assert!(
        page.body.contains(&format!("1\u{a0}EUR = <span class=\"fig\"{}", figure("1.10"))),
        "{}",
        page.body
    );
    // Typed the other way round, and from a list.
    let each = [
        ("what", "exchange:GBP"),
        ("amount", "1.25"),
        ("per", "each"),
        ("valid_from", "2026-11-20"),
    ];
    shop.owner.post("/prices", &each).await.led_to();
    let list = [("list", "USD; 1.12; ; 2026-11-25\nJPY; 160\nKWD; 3.0; each"), ("go", "yes")];
    shop.owner.post("/prices/paste", &list).await.led_to();
    let kept = "SELECT string_agg(item || ' ' || trim_scale(amount) || ' ' || valid_from, '; ' ORDER BY item, valid_from)
                  FROM prices WHERE kind = 'exchange' AND currency = 'EUR'";
    assert_eq!(
        one(&shop.studio, kept).await,
        "GBP 0.8 2026-11-20; JPY 160 2026-11-25; KWD 0.3333333333 2026-11-25; USD 1.1 2026-11-20; USD 1.12 2026-11-25"
    );
    let history = shop.owner.get("/prices/exchange/USD").await;
    assert!(history.page().contains("1.12") && history.body.contains("Note a rate"));
    // The same day again is asked about at the rate's own form; nonsense is told.
    let again =
        [("what", "exchange:USD"), ("amount", "1.13"), ("per", ""), ("valid_from", "2026-11-25")];
    let asked = shop.owner.post("/prices", &again).await;
    assert_eq!(asked.status, StatusCode::CONFLICT);
    assert!(
        asked.body.contains("There is a rate for that day already: 1 EUR = 1.12 USD"),
        "{}",
        asked.body
    );
    for (what, amount, words) in [
        ("exchange:USD", "0", "above nothing"),
        ("exchange:EUR", "1", "There is no such thing"),
        ("exchange:XXX", "1", "There is no such thing"),
        ("exchange:USD", "1.123456789012", "At most 10 decimals"),
    ] {
        let fields =
            [("what", what), ("amount", amount), ("per", ""), ("valid_from", "2026-11-24")];
        let wrong = shop.owner.post("/prices", &fields).await;
        assert!(
            wrong.status.is_client_error() && wrong.body.contains(words),
            "{words}: {}",
            wrong.body
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_quote_takes_the_rate_of_the_price_book_and_never_that_of_another_currency() {
    let shop = shop().await;
    rate(&shop.owner, "USD", "1.10", "2026-11-20").await;
    let dollars = [("currency", "USD"), ("rate", ""), ("rate_on", "")];
    let page = shop.preview(&dollars).await;
    assert!(page.page().contains(&figure("356.38")), "{}", page.body);
    assert!(
        page.body.contains("name=\"rate\" value=\"1.1\"")
            && page.body.contains("value=\"2026-11-20\"")
    );
    assert!(page.body.contains("name=\"rate_of\" value=\"USD 1.1\""), "{}", page.body);
    // Before the first rate there was none, and nothing is guessed.
    let early = [("currency", "USD"), ("rate", ""), ("rate_on", "2026-11-19")];
    let none = shop.preview(&early).await;
    assert_eq!(none.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(none.body.contains("How much USD one EUR buys is needed"));
    // The currency is changed and the rate left standing: it was that of dollars.
    let left =
        [("currency", "GBP"), ("rate", "1.1"), ("rate_on", "2026-11-20"), ("rate_of", "USD 1.1")];
    let told = shop.preview(&left).await;
    assert_eq!(told.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(told.body.contains("The rate that stood here was that of USD"), "{}", told.body);
    rate(&shop.owner, "GBP", "0.85", "2026-11-24").await;
    let page = shop.preview(&left).await;
    assert!(page.page().contains("1 EUR = 0.85 GBP"), "{}", page.body);
    // A rate of one's own stays, and it is said that the book has another.
    let own = [("currency", "USD"), ("rate", "1.2"), ("rate_on", "2026-11-25")];
    let page = shop.preview(&own).await;
    assert!(
        page.page().contains("The price book has 1 EUR = 1.1 USD since 2026-11-20"),
        "{}",
        page.body
    );
}

/// What receivables and exchange come to in the studio's currency, from the journal.
async fn booked(owner: &Actor) -> std::collections::BTreeMap<String, rust_decimal::Decimal> {
    let journal = owner.get("/exports/journal.json").await;
    let rows: Vec<serde_json::Value> = serde_json::from_str(journal.page()).unwrap();
    let number = |value: &serde_json::Value| -> rust_decimal::Decimal {
        if value.is_null() {
            rust_decimal::Decimal::ZERO
        } else {
            value.to_string().parse().unwrap()
        }
    };
    let mut accounts = std::collections::BTreeMap::<String, rust_decimal::Decimal>::new();
    let mut days = std::collections::BTreeMap::<String, rust_decimal::Decimal>::new();
    for row in &rows {
        let change = number(&row["booked_debit"]) - number(&row["booked_credit"]);
        *accounts.entry(row["account"].as_str().unwrap().to_owned()).or_default() += change;
        *days.entry(row["day"].as_str().unwrap().to_owned()).or_default() += change;
    }
    assert!(days.values().all(rust_decimal::Decimal::is_zero), "each day balances: {days:?}");
    accounts
}

fn euros(text: &str) -> rust_decimal::Decimal {
    text.parse().unwrap()
}

/// The deposit of 178.19 dollars is invoiced at 1.10: 161.99 euros. The dollar rises to 1.00: paid, it
/// is 178.19, a gain of 16.20. The rest is invoiced at 1.00 and paid in two parts that the bank turned
/// into 80.00 and 90.00 euros: 178.19 − 170.00 is a loss of 8.19.
#[tokio::test(flavor = "multi_thread")]
async fn exchange_between_invoice_and_payment_is_shown_and_booked_and_each_day_balances() {
    let shop = shop().await;
    rate(&shop.owner, "USD", "1.10", "2026-11-20").await;
    let page = shop.sent(&[("currency", "USD"), ("rate", ""), ("rate_on", "")]).await;
    let yes = [("quote", "1"), ("name", "Ada Quill")];
    shop.studio.stranger().post(&format!("{page}/yes"), &yes).await.led_to();
    let deposit = issued(&shop.owner, shop.number, "deposit").await;
    shop.studio.clock.set(moment("2026-11-27T09:00:00Z"));
    rate(&shop.owner, "USD", "1.00", "2026-11-27").await;
    let ada = client(&shop.studio).await;
    let pay = |amount: &'static str, booked: &'static str| {
        let (owner, place) = (shop.owner.clone(), format!("/clients/{ada}/payments"));
        async move {
            let fields =
                [("amount", amount), ("currency", "USD"), ("on", "2026-11-27"), ("booked", booked)];
            owner.post(&place, &fields).await
        }
    };
    pay("178.19", "").await.led_to();
    let shown = shop.owner.get(&deposit).await;
    assert!(
        shown.page().contains("gained by exchange") && shown.body.contains(&figure("16.20")),
        "{}",
        shown.body
    );
    assert_eq!(booked(&shop.owner).await["exchange_differences"], euros("-16.20"));

    let rest = draft(&shop.owner, shop.number, "rest").await;
    let page = shop.owner.get(&rest).await;
    assert!(page.page().contains("1 EUR = 1 USD"), "{}", page.body);
    issue(&shop.owner, &rest).await;
    pay("100", "80.00").await.led_to();
    pay("78.19", "90.00").await.led_to();
    let accounts = booked(&shop.owner).await;
    assert_eq!(accounts["receivables"], euros("0"), "{accounts:?}");
    assert_eq!(
        accounts["exchange_differences"],
        euros("-8.01"),
        "a gain of 16.20 less a loss of 8.19"
    );
    assert_eq!(accounts["money"], euros("348.19"));
    let account = shop.owner.get(&format!("/clients/{ada}/account")).await;
    assert!(
        account.page().contains("Gained by exchange") && account.body.contains(&figure("8.01")),
        "{}",
        account.body
    );
    assert!(account.body.contains("booked as"));

    // A payment that is taken back takes its difference with it, to the cent.
    let last = one(
        &shop.studio,
        "SELECT id::text FROM client_entries WHERE kind = 'payment' AND amount = 78.19",
    )
    .await;
    shop.owner.post(&format!("/clients/{ada}/entries/{last}/reverse"), &[]).await.led_to();
    let accounts = booked(&shop.owner).await;
    assert_eq!(
        accounts["receivables"],
        euros("78.19"),
        "what is owed again, at the rate of its invoice"
    );
    pay("78.19", "78.19").await.led_to();
    let accounts = booked(&shop.owner).await;
    assert_eq!(accounts["receivables"], euros("0"), "{accounts:?}");
    assert_eq!(accounts["exchange_differences"], euros("3.80"), "16.20 gained, 20.00 lost");
    // Whatever was settled, the columns of the settlements say the same.
    let sum = "SELECT trim_scale(sum(difference))::text FROM settlements";
    assert_eq!(one(&shop.studio, sum).await, "-3.8");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_free_invoice_may_be_in_another_currency_and_nothing_is_converted_in_silence() {
    let shop = shop().await;
    let ada = client(&shop.studio).await;
    let place = shop.owner.post("/invoices", &[("client", &ada)]).await.led_to().to_owned();
    let save = |more: Vec<(&'static str, &'static str)>| {
        let (owner, place) = (shop.owner.clone(), place.clone());
        async move {
            let page = owner.get(&place).await;
            let version = crate::invoices::hidden(page.page(), "version");
            let mut fields = vec![
                ("version", version.as_str()),
                ("rows", "1"),
                ("words-1", "Repair of a clasp"),
                ("quantity-1", "1"),
                ("price-1", "12000"),
                ("discount-1", "0"),
                ("tax-1", "VAT 10"),
                ("due_days", "14"),
                ("note", ""),
            ];
            fields.retain(|(name, _)| !more.iter().any(|(other, _)| other == name));
            fields.extend(more);
            owner.post(&place, &fields).await
        }
    };
    save(vec![]).await.led_to();
    let yen = vec![("currency", "jpy"), ("rate", ""), ("rate_on", "")];
    let asked = save(yen.clone()).await;
    assert_eq!(asked.status, StatusCode::CONFLICT);
    assert!(
        asked
            .body
            .contains("The draft is in EUR and would be in JPY. Its prices are not converted"),
        "{}",
        asked.body
    );
    let meant = [yen, vec![("currency_meant", "yes")]].concat();
    let none = save(meant.clone()).await;
    assert_eq!(none.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(none.body.contains("How much JPY one EUR buys is needed"), "{}", none.body);
    let state = "SELECT currency || ' ' || trim_scale(total) || ' ' || coalesce(trim_scale(booked_total)::text, '–') FROM invoices";
    assert_eq!(one(&shop.studio, state).await, "EUR 13200 –", "nothing was changed");
    rate(&shop.owner, "JPY", "160", "2026-11-20").await;
    save(meant).await.led_to();
    assert_eq!(one(&shop.studio, state).await, "JPY 13200 82.5");
    // Yen have no smaller unit.
    let cents = save(vec![
        ("currency", "JPY"),
        ("rate", "160"),
        ("rate_on", "2026-11-20"),
        ("discount-1", "0.5"),
    ])
    .await;
    assert_eq!(cents.status, StatusCode::UNPROCESSABLE_ENTITY);
    // The rate of yen left standing beside dollars is not believed.
    let left = save(vec![
        ("currency", "USD"),
        ("rate", "160"),
        ("rate_on", "2026-11-20"),
        ("currency_meant", "yes"),
    ])
    .await;
    assert_eq!(left.status, StatusCode::UNPROCESSABLE_ENTITY);
    issue(&shop.owner, &place).await;
    let page = shop.owner.get(&place).await;
    assert!(
        page.page().contains("13\u{202f}200")
            || page.body.contains("13,200")
            || page.body.contains("13\u{2009}200"),
        "{}",
        page.body
    );
    let pay = [("amount", "13200"), ("currency", "JPY"), ("on", "2026-11-25"), ("booked", "80")];
    shop.owner.post(&format!("/clients/{ada}/payments"), &pay).await.led_to();
    let accounts = booked(&shop.owner).await;
    assert_eq!(
        (accounts["receivables"], accounts["exchange_differences"]),
        (euros("0"), euros("2.50"))
    );
}
