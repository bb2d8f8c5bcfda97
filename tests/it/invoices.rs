//! Invoices: gapless numbers, amounts that add up, accounts that balance whatever happens.

use axum::http::StatusCode;
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use rust_decimal::Decimal;

use crate::support::builders_orders::{ready_to_price, send_quote};
use crate::support::studio::{Actor, Answer, Studio, moment};

/// A studio with an order of 323.99 that the client has agreed to, half of it, 162.00, as a deposit.
pub(crate) async fn agreed() -> (Studio, Actor, i32) {
    let (studio, owner, number) = ready_to_price().await;
    let page = send_quote(&studio, &owner, number).await;
    let yes = [("quote", "1"), ("name", "Ada Quill")];
    studio.stranger().post(&format!("{page}/yes"), &yes).await.led_to();
    (studio, owner, number)
}

pub(crate) async fn one(studio: &Studio, sql: &'static str) -> String {
    sqlx::query_scalar(sql).fetch_one(&studio.db.pool).await.unwrap()
}

pub(crate) async fn client(studio: &Studio) -> String {
    one(studio, "SELECT id::text FROM clients ORDER BY created_at LIMIT 1").await
}

/// The value of a hidden field.
pub(crate) fn hidden(page: &str, name: &str) -> String {
    let mark = format!("name=\"{name}\" value=\"");
    page.split(&mark).nth(1).unwrap().split('"').next().unwrap().to_owned()
}

/// Issues a draft as its page offers it; what came back.
async fn try_issue(owner: &Actor, draft: &str) -> Answer {
    let page = owner.get(draft).await;
    let version = hidden(page.page(), "version");
    owner.post(&format!("{draft}/issue"), &[("version", &version)]).await
}

pub(crate) async fn issue(owner: &Actor, draft: &str) {
    try_issue(owner, draft).await.led_to();
}

/// Drafts the invoice of a part of an order; its address.
pub(crate) async fn draft(owner: &Actor, number: i32, part: &str) -> String {
    let place = format!("/orders/{number}/invoices");
    owner.post(&place, &[("part", part)]).await.led_to().to_owned()
}

pub(crate) async fn issued(owner: &Actor, number: i32, part: &str) -> String {
    let place = draft(owner, number, part).await;
    issue(owner, &place).await;
    place
}

pub(crate) async fn pay(owner: &Actor, client: &str, amount: &str, invoice: &str) -> Answer {
    let invoice = invoice.rsplit('/').next().unwrap();
    let fields = [
        ("amount", amount),
        ("on", "2026-11-25"),
        ("invoice", invoice),
        ("method", "Bank"),
        ("sure", "yes"),
    ];
    owner.post(&format!("/clients/{client}/payments"), &fields).await
}

#[tokio::test(flavor = "multi_thread")]
async fn deposit_and_rest_are_together_what_was_agreed() {
    let (studio, owner, number) = agreed().await;
    let deposit = draft(&owner, number, "deposit").await;
    assert_eq!(draft(&owner, number, "deposit").await, deposit, "there is one draft");
    let early = owner.post(&format!("/orders/{number}/invoices"), &[("part", "rest")]).await;
    assert_eq!(early.status, StatusCode::CONFLICT, "the deposit has to be issued first");
    assert!(early.body.contains("still a draft"));
    issue(&owner, &deposit).await;
    let rest = draft(&owner, number, "rest").await;
    let page = owner.get(&rest).await;
    assert!(page.page().contains("Less the deposit, invoice 1"));
    // Every amount of it opens into what it follows from.
    for formula in ["sum of the lines", "net + taxes"] {
        assert!(page.body.contains(formula), "{formula}: {}", page.body);
    }
    issue(&owner, &rest).await;
    // 162.00 contains 25.87 of 19 %: 162.00 × 51.73 ÷ 323.99 = 25.866.
    let totals: Vec<(String, String, String)> = sqlx::query_as(
        "SELECT trim_scale(net)::text, trim_scale(tax)::text, trim_scale(total)::text FROM invoices ORDER BY number",
    )
    .fetch_all(&studio.db.pool)
    .await
    .unwrap();
    let totals: Vec<_> =
        totals.iter().map(|(n, t, g)| (n.as_str(), t.as_str(), g.as_str())).collect();
    assert_eq!(totals, [("136.13", "25.87", "162"), ("136.13", "25.86", "161.99")]);
    assert!(owner.get(&rest).await.page().contains(">161.99<span"));
    assert_eq!(one(&studio, "SELECT sum(total)::text FROM invoices").await, "323.9900");
    assert_eq!(draft(&owner, number, "rest").await, rest, "the order is invoiced once");
    let late = owner.post(&format!("{deposit}/credit"), &[]).await;
    assert!(late.body.contains("Invoice 2 takes this deposit off"));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_issued_never_changes_neither_by_form_nor_in_the_database() {
    let (studio, owner, number) = agreed().await;
    let place = draft(&owner, number, "rest").await;
    let before = hidden(owner.get(&place).await.page(), "version");
    issue(&owner, &place).await;
    let late = owner.post(&place, &[("version", &before), ("rows", "0"), ("due_days", "3")]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("what is issued does not change"));
    for path in ["issue", "discard"] {
        let late = owner.post(&format!("{place}/{path}"), &[("version", &before)]).await;
        assert_eq!(late.status, StatusCode::CONFLICT, "{path}");
    }
    for sql in [
        "UPDATE invoices SET total = total + 1, net = net + 1",
        "UPDATE invoices SET note = 'later'",
        "DELETE FROM invoices",
        "UPDATE invoice_lines SET amount = amount + 1",
        "DELETE FROM invoice_taxes",
        "INSERT INTO invoice_taxes SELECT id, 9, 'x', 1, 1, 1 FROM invoices",
        "UPDATE client_entries SET amount = 0",
        "DELETE FROM client_entries",
    ] {
        assert!(sqlx::query(sql).execute(&studio.db.pool).await.is_err(), "{sql}");
    }
    // The client moves; the invoice stays.
    let client = client(&studio).await;
    sqlx::query("UPDATE clients SET name = 'Ada Elsewhere'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    assert!(owner.get(&place).await.page().contains("<b>Ada Quill</b>"));
    assert!(
        owner.get(&format!("/clients/{client}/account")).await.page().contains("Ada Elsewhere")
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn two_issued_at_once_have_two_numbers_and_a_failed_one_leaves_no_gap() {
    let (studio, owner, _) = agreed().await;
    let client = client(&studio).await;
    let mut drafts = Vec::new();
    for n in 0..6 {
        let draft = owner.post("/invoices", &[("client", &client)]).await.led_to().to_owned();
        // Every third has no line, and is refused.
        if n % 3 != 2 {
            let fields = [
                ("version", "1"),
                ("due_days", "14"),
                ("rows", "1"),
                ("words-1", "Repair"),
                ("quantity-1", "1"),
                ("price-1", "10"),
                ("discount-1", "0"),
                ("tax-1", "VAT 19"),
            ];
            owner.post(&draft, &fields).await.led_to();
        }
        drafts.push(draft);
    }
    let all = drafts.iter().map(|draft| try_issue(&owner, draft));
    let answers = futures_util::future::join_all(all).await;
    let good = answers.iter().filter(|answer| answer.status == StatusCode::SEE_OTHER).count();
    assert_eq!(good, 4);
    let numbers: Vec<i32> =
        sqlx::query_scalar("SELECT number FROM invoices WHERE number IS NOT NULL ORDER BY number")
            .fetch_all(&studio.db.pool)
            .await
            .unwrap();
    assert_eq!(numbers, [1, 2, 3, 4]);
    // A transaction that takes a number and fails gives it back.
    let mut tx = studio.db.pool.begin().await.unwrap();
    sqlx::query("UPDATE document_numbers SET next = next + 1").execute(&mut *tx).await.unwrap();
    tx.rollback().await.unwrap();
    let next = owner.post("/invoices", &[("client", &client)]).await.led_to().to_owned();
    let line = [("version", "1"), ("due_days", "14"), ("rows", "1"), ("words-1", "Repair")];
    let rest = [("quantity-1", "1"), ("price-1", "10"), ("discount-1", "0"), ("tax-1", "")];
    owner.post(&next, &[line.as_slice(), rest.as_slice()].concat()).await.led_to();
    issue(&owner, &next).await;
    assert_eq!(one(&studio, "SELECT max(number)::text FROM invoices").await, "5");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_payment_larger_than_owed_is_the_clients_credit() {
    let (studio, owner, number) = agreed().await;
    let deposit = issued(&owner, number, "deposit").await;
    let client = client(&studio).await;
    pay(&owner, &client, "99.30", &deposit).await.led_to();
    let shown = owner.get(&deposit).await;
    assert!(shown.page().contains(">62.70<span"), "part of it is open");
    // The rest is noted from the invoice: it is chosen there, with its cents.
    let id = deposit.rsplit('/').next().unwrap();
    let place = format!("/clients/{client}/account?invoice={id}");
    assert!(shown.body.contains(&format!("href=\"{place}#pay\"")), "{}", shown.body);
    let paying = owner.get(&place).await;
    let chosen = format!("<option value=\"{id}\" selected>1, 62.70\u{a0}EUR open</option>");
    assert!(paying.page().contains(&chosen), "{}", paying.body);
    pay(&owner, &client, "0.70", &deposit).await.led_to();
    pay(&owner, &client, "100.01", "").await.led_to();
    let account = owner.get(&format!("/clients/{client}/account")).await;
    assert!(account.page().contains("Payment Bank for invoice 1"), "{}", account.body);
    assert!(account.body.contains("Credit of the client, not used"));
    assert!(account.body.contains(">38.01<span"));
    assert!(account.body.contains("The studio owes"));
    let rest = issued(&owner, number, "rest").await;
    let page = owner.get(&rest).await;
    assert!(page.page().contains("Pay it from the credit of"));
    owner.post(&format!("{rest}/use-credit"), &[]).await.led_to();
    // 161.99 − 38.01 = 123.98.
    assert!(owner.get(&rest).await.page().contains(">123.98<span"));
    let again = owner.post(&format!("{rest}/use-credit"), &[]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    let refund = [("amount", "1"), ("on", "2026-11-25")];
    let refused = owner.post(&format!("/clients/{client}/refunds"), &refund).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.body.contains("no more can be given back"));
}

#[tokio::test(flavor = "multi_thread")]
async fn bad_amounts_and_days_are_told_at_their_fields_and_kept() {
    let (studio, owner, number) = agreed().await;
    issued(&owner, number, "deposit").await;
    let client = client(&studio).await;
    let place = format!("/clients/{client}/payments");
    for (amount, on, message) in [
        ("1.000000000001", "2026-11-25", "At most 2 decimals"),
        ("0", "2026-11-25", "This must be between"),
        ("-5", "2026-11-25", "This must be between"),
        ("1e2", "2026-11-25", "“1e2” is not a number"),
        ("1_0", "2026-11-25", "“1_0” is not a number"),
        ("many", "2026-11-25", "“many” is not a number"),
        ("5", "2026-11-26", "This day has not come yet"),
        ("5", "soon", "A day is needed"),
    ] {
        let answer = owner.post(&place, &[("amount", amount), ("on", on)]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{amount} {on}");
        assert!(answer.body.contains(message), "{message}");
        assert!(answer.body.contains(&format!("value=\"{amount}\"")), "what was typed is kept");
    }
    assert_eq!(one(&studio, "SELECT count(*)::text FROM client_entries").await, "1");
    // More than is owed is asked about first, and what was typed is kept.
    let more = [("amount", "1620.00"), ("on", "2026-11-25"), ("reference", "slipped")];
    let asked = owner.post(&place, &more).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    let words =
        "162.00\u{a0}EUR are owed and 1620.00\u{a0}EUR were paid: 1458.00\u{a0}EUR would be";
    assert!(asked.body.contains(words), "{}", asked.body);
    assert!(asked.body.contains("value=\"1620.00\"") && asked.body.contains("value=\"slipped\""));
    assert_eq!(one(&studio, "SELECT count(*)::text FROM client_entries").await, "1");
    let twice =
        [("amount", "5"), ("on", "2026-11-25"), ("once", "0198c000-0000-7000-8000-000000000001")];
    owner.post(&place, &twice).await.led_to();
    owner.post(&place, &twice).await.led_to();
    assert_eq!(
        one(&studio, "SELECT count(*)::text FROM client_entries").await,
        "2",
        "sent twice, noted once"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_credit_note_reverses_and_takes_back_no_more_than_there_is() {
    let (studio, owner, number) = agreed().await;
    let rest = issued(&owner, number, "rest").await;
    let note = owner.post(&format!("{rest}/credit"), &[]).await.led_to().to_owned();
    issue(&owner, &note).await;
    assert_eq!(one(&studio, "SELECT label FROM invoices WHERE kind = 'credit_note'").await, "C1");
    let client = client(&studio).await;
    let account = owner.get(&format!("/clients/{client}/account")).await;
    assert!(
        account.page().contains("The client owes</dt><dd class=\"total\"><details class=\"working\"><summary><span class=\"fig\">0.00")
    );
    let again = owner.post(&format!("{rest}/credit"), &[]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(again.body.contains("credited already"));
    // The order can be invoiced anew, and a part of that taken back.
    let second = issued(&owner, number, "rest").await;
    assert_ne!(second, rest);
    let part = owner.post(&format!("{second}/credit"), &[]).await.led_to().to_owned();
    let lines = |price: &str, tax: &str| {
        [
            ("rows", "1".to_owned()),
            ("due_days", "0".to_owned()),
            ("words-1", "One less".to_owned()),
            ("quantity-1", "1".to_owned()),
            ("price-1", price.to_owned()),
            ("discount-1", "0".to_owned()),
            ("tax-1", tax.to_owned()),
        ]
    };
    for (price, tax, message) in [
        ("300", "VAT 19", "comes to 357.00\u{a0}EUR, but only 323.99\u{a0}EUR of the invoice"),
        ("200", "VAT 50", "the invoice has only 0.00\u{a0}EUR of it left"),
    ] {
        let version = hidden(owner.get(&part).await.page(), "version");
        let fields = lines(price, tax);
        let mut fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
        fields.push(("version", &version));
        owner.post(&part, &fields).await.led_to();
        let refused = try_issue(&owner, &part).await;
        assert_eq!(refused.status, StatusCode::CONFLICT);
        assert!(refused.body.contains(message), "{message}");
    }
    let version = hidden(owner.get(&part).await.page(), "version");
    let fields = lines("136.13", "VAT 19");
    let mut fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
    fields.push(("version", &version));
    owner.post(&part, &fields).await.led_to();
    issue(&owner, &part).await;
    // 136.13 + 25.86 = 161.99 back; 162.00 stays.
    assert!(
        owner
            .get(&second)
            .await
            .page()
            .contains("Still to be paid</dt><dd class=\"total\"><details class=\"working\"><summary><span class=\"fig\">162.00")
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn overdue_invoices_are_listed_the_day_after() {
    let (studio, owner, number) = agreed().await;
    issued(&owner, number, "rest").await;
    assert!(owner.get("/invoices?show=overdue").await.page().contains("Nothing is overdue."));
    studio.clock.set(moment("2026-12-09T22:59:00Z"));
    assert!(owner.get("/invoices?show=overdue").await.page().contains("Nothing is overdue."));
    studio.clock.set(moment("2026-12-09T23:01:00Z"));
    let page = owner.get("/invoices?show=overdue").await;
    assert!(page.page().contains("1 day late"), "14 days from 25 November, in Berlin");
    pay(&owner, &client(&studio).await, "323.99", "").await.led_to();
    assert!(owner.get("/invoices?show=overdue").await.page().contains("Nothing is overdue."));
}

#[tokio::test(flavor = "multi_thread")]
async fn invoices_and_accounts_are_for_the_owner() {
    let (studio, owner, number) = agreed().await;
    let place = issued(&owner, number, "rest").await;
    let client = client(&studio).await;
    let maker = studio.maker().await;
    for path in [
        "/invoices".to_owned(),
        place.clone(),
        format!("/orders/{number}/invoices"),
        format!("/clients/{client}/account"),
        "/studio/invoicing".to_owned(),
    ] {
        assert_eq!(maker.get(&path).await.status, StatusCode::FORBIDDEN, "{path}");
        assert_eq!(studio.stranger().get(&path).await.status, StatusCode::SEE_OTHER, "{path}");
    }
    for path in [format!("{place}/credit"), format!("/clients/{client}/payments")] {
        assert_eq!(maker.post(&path, &[]).await.status, StatusCode::FORBIDDEN, "{path}");
    }
}

/// What must hold after whatever happened.
async fn balances(studio: &Studio) {
    let none = |sql: &'static str| async move {
        let found: i64 = sqlx::query_scalar(sql).fetch_one(&studio.db.pool).await.unwrap();
        assert_eq!(found, 0, "{sql}");
    };
    none(
        "SELECT count(*) FROM invoices i WHERE state = 'issued' AND (
            total <> (SELECT sum(gross) FROM invoice_lines WHERE invoice_id = i.id)
         OR net <> (SELECT sum(net) FROM invoice_lines WHERE invoice_id = i.id)
         OR tax <> (SELECT coalesce(sum(amount), 0) FROM invoice_taxes WHERE invoice_id = i.id)
         OR total <> (SELECT amount FROM client_entries WHERE id = i.id))",
    )
    .await;
    none(
        "SELECT count(*) FROM (SELECT kind FROM invoices WHERE number IS NOT NULL GROUP BY kind
          HAVING count(*) <> max(number) OR count(DISTINCT number) <> count(*)) x",
    )
    .await;
    none("SELECT count(*) FROM entry_balances b WHERE settled NOT BETWEEN 0 AND amount OR settled <>
          (SELECT coalesce(sum(amount), 0) FROM settlements WHERE credit_id = b.entry_id OR debit_id = b.entry_id)")
    .await;
    none("SELECT count(*) FROM (SELECT e.client_id FROM client_entries e JOIN entry_balances b ON b.entry_id = e.id
          GROUP BY e.client_id HAVING sum(CASE WHEN e.debit THEN e.amount ELSE -e.amount END)
            <> sum(CASE WHEN e.debit THEN b.amount - b.settled ELSE b.settled - b.amount END)) x")
    .await;
    none("SELECT count(*) FROM invoices i WHERE kind = 'invoice' AND total <
          (SELECT coalesce(sum(total), 0) FROM invoices k WHERE k.corrects = i.id AND k.state = 'issued')")
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn any_sequence_keeps_invoices_balanced() {
    let (studio, owner, number) = agreed().await;
    let client = client(&studio).await;
    issued(&owner, number, "deposit").await;
    let mut random = StdRng::seed_from_u64(7);
    let mut refused = 0;
    for _ in 0..120 {
        let amount = Decimal::new(random.random_range(1..40_000), 2).to_string();
        let any = |sql: &'static str, pick: i64| {
            let pool = studio.db.pool.clone();
            async move {
                let all: Vec<String> = sqlx::query_scalar(sql).fetch_all(&pool).await.unwrap();
                let pick = usize::try_from(pick).unwrap();
                (!all.is_empty()).then(|| all[pick % all.len()].clone())
            }
        };
        let pick = random.random_range(0..1000);
        let answer = match random.random_range(0..9) {
            0 => {
                let draft =
                    owner.post("/invoices", &[("client", &client)]).await.led_to().to_owned();
                let tax = ["", "VAT 19", "GST 5 + QST 9.975"][random.random_range(0..3)];
                let fields = [
                    ("version", "1"),
                    ("due_days", "14"),
                    ("rows", "2"),
                    ("words-1", "Repair"),
                    ("quantity-1", "1.5"),
                    ("price-1", &amount),
                    ("discount-1", "0.33"),
                    ("tax-1", tax),
                    ("words-2", "Post"),
                    ("quantity-2", "1"),
                    ("price-2", "4.9"),
                    ("discount-2", "0"),
                    ("tax-2", "VAT 7"),
                ];
                owner.post(&draft, &fields).await.led_to();
                try_issue(&owner, &draft).await
            }
            1 => owner.post(&format!("/orders/{number}/invoices"), &[("part", "rest")]).await,
            2 => match any(
                "SELECT '/invoices/' || id FROM invoices WHERE state = 'draft' ORDER BY id",
                pick,
            )
            .await
            {
                Some(draft) => try_issue(&owner, &draft).await,
                None => continue,
            },
            3 | 4 => {
                let invoice = any(
                    "SELECT id::text FROM invoices WHERE state = 'issued' AND kind = 'invoice' ORDER BY id",
                    pick,
                )
                .await;
                pay(
                    &owner,
                    &client,
                    &amount,
                    invoice.filter(|_| pick % 2 == 0).as_deref().unwrap_or(""),
                )
                .await
            }
            5 => {
                let fields = [("amount", amount.as_str()), ("on", "2026-11-25")];
                owner.post(&format!("/clients/{client}/refunds"), &fields).await
            }
            6 => match any("SELECT id::text FROM client_entries ORDER BY id", pick).await {
                Some(entry) => {
                    owner.post(&format!("/clients/{client}/entries/{entry}/reverse"), &[]).await
                }
                None => continue,
            },
            7 => match any("SELECT '/invoices/' || id FROM invoices ORDER BY id", pick).await {
                Some(place) => owner.post(&format!("{place}/credit"), &[]).await,
                None => continue,
            },
            _ => match any("SELECT '/invoices/' || id FROM invoices ORDER BY id", pick).await {
                Some(place) => owner.post(&format!("{place}/use-credit"), &[]).await,
                None => continue,
            },
        };
        assert!(!answer.status.is_server_error(), "{}", answer.body);
        refused += usize::from(answer.status.is_client_error());
        balances(&studio).await;
    }
    assert!(refused > 5, "some of it has to be refused: {refused}");
    let entries: i64 = sqlx::query_scalar("SELECT count(*) FROM client_entries")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    assert!(entries > 40, "{entries}");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_order_agreed_at_nothing_is_not_invoiced() {
    let (studio, owner, number) = agreed().await;
    // As a discount of 100 % leaves it.
    sqlx::query(
        "UPDATE quotes SET content = jsonb_set(jsonb_set(content, '{totals,gross}', '\"0\"'), '{deposit}', '\"0\"')",
    )
    .execute(&studio.db.pool)
    .await
    .unwrap();
    let place = format!("/orders/{number}/invoices");
    let refused = owner.post(&place, &[("part", "rest")]).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("there is nothing to invoice"), "{}", refused.body);
    assert_eq!(one(&studio, "SELECT count(*)::text FROM invoices").await, "0");
}
