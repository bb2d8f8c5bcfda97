//! Exports: read back by other programs' readers, whole, balanced, and harmless in a spreadsheet.

use std::collections::BTreeMap;

use axum::http::StatusCode;
use pourday::exports::datasets;
use rust_decimal::Decimal;
use serde_json::Value;

use crate::invoices::{agreed, issued};
use crate::support::studio::Actor;

async fn csv(owner: &Actor, name: &str) -> (Vec<String>, Vec<Vec<String>>) {
    let answer = owner.get(&format!("/exports/{name}.csv")).await;
    let mut reader = csv::ReaderBuilder::new().from_reader(answer.page().as_bytes());
    let head = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let rows =
        reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
    (head, rows)
}

async fn json(owner: &Actor, name: &str) -> Vec<Value> {
    let answer = owner.get(&format!("/exports/{name}.json")).await;
    serde_json::from_str::<Value>(answer.page()).unwrap().as_array().unwrap().clone()
}

#[tokio::test(flavor = "multi_thread")]
async fn every_data_set_comes_as_csv_and_json_with_the_columns_that_are_described() {
    let (studio, owner, number) = agreed().await;
    issued(&owner, number, "deposit").await;
    let page = owner.get("/exports").await;
    let everything = owner.get("/exports/everything.json").await;
    let everything: Value = serde_json::from_str(everything.page()).unwrap();
    let mut filled = 0;
    for dataset in datasets() {
        let (head, rows) = csv(&owner, dataset.name).await;
        let described: Vec<&str> = dataset.columns.iter().map(|column| column.name).collect();
        assert_eq!(head, described, "{}", dataset.name);
        for name in described {
            assert!(page.page().contains(&format!("<code>{name}</code>")), "{name}");
        }
        let objects = json(&owner, dataset.name).await;
        assert_eq!(objects.len(), rows.len(), "{}", dataset.name);
        assert_eq!(everything[dataset.name].as_array().unwrap().len(), rows.len());
        for (object, row) in objects.iter().zip(&rows) {
            assert_eq!(object.as_object().unwrap().len(), row.len());
        }
        filled += usize::from(!rows.is_empty());
    }
    assert!(filled > 10, "{filled} data sets have rows");
    let invoices = json(&owner, "invoices").await;
    let text = owner.get("/exports/invoices.json").await;
    assert!(text.page().contains("\"total\":162.0000,"), "every digit is kept, as a number");
    assert_eq!(invoices[0]["issued_on"], "2026-11-25");
    let orders = json(&owner, "orders").await;
    assert_eq!(orders[0]["agreed_at"], "2026-11-25T09:00:00Z");
    assert!(orders[0]["closed_at"].is_null());
    let secrets: Vec<String> = sqlx::query_scalar("SELECT password_hash FROM people")
        .fetch_all(&studio.db.pool)
        .await
        .unwrap();
    assert!(!everything.to_string().contains(&secrets[0]), "no password leaves the house");
}

#[tokio::test(flavor = "multi_thread")]
async fn names_that_are_formulas_run_nothing_in_a_spreadsheet() {
    let (studio, owner, _) = agreed().await;
    let evil = "=HYPERLINK(\"http://example.org\",\"Ada\")\n@SUM(1)";
    sqlx::query("UPDATE clients SET name = $1").bind(evil).execute(&studio.db.pool).await.unwrap();
    let (_, rows) = csv(&owner, "clients").await;
    assert_eq!(rows[0][1], format!("'{evil}"), "an apostrophe before, the rest as it was");
    assert_eq!(
        json(&owner, "clients").await[0]["name"],
        evil,
        "JSON is not opened by a spreadsheet"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn the_journal_balances_by_document_and_by_day() {
    let (studio, owner, number) = agreed().await;
    issued(&owner, number, "deposit").await;
    let client: String = sqlx::query_scalar("SELECT id::text FROM clients")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let pay = [
        ("amount", "200"),
        ("on", "2026-11-24"),
        ("method", "Bank"),
        ("reference", "=1+1"),
        ("sure", "yes"),
    ];
    owner.post(&format!("/clients/{client}/payments"), &pay).await.led_to();
    studio.clock.set(crate::support::studio::moment("2026-11-27T09:00:00Z"));
    let rest = issued(&owner, number, "rest").await;
    let note = owner.post(&format!("{rest}/credit"), &[]).await.led_to().to_owned();
    let version = owner
        .get(&note)
        .await
        .page()
        .split("name=\"version\" value=\"")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap()
        .to_owned();
    owner.post(&format!("{note}/issue"), &[("version", &version)]).await.led_to();
    let refund = [("amount", "38"), ("on", "2026-11-27")];
    owner.post(&format!("/clients/{client}/refunds"), &refund).await.led_to();
    let payment: String =
        sqlx::query_scalar("SELECT id::text FROM client_entries WHERE kind = 'refund'")
            .fetch_one(&studio.db.pool)
            .await
            .unwrap();
    owner.post(&format!("/clients/{client}/entries/{payment}/reverse"), &[]).await.led_to();
    let (head, rows) = csv(&owner, "journal").await;
    let at = |name: &str| head.iter().position(|column| column == name).unwrap();
    let amount = |cell: &str| if cell.is_empty() { Decimal::ZERO } else { cell.parse().unwrap() };
    let mut days: BTreeMap<String, Decimal> = BTreeMap::new();
    let mut documents: BTreeMap<String, Decimal> = BTreeMap::new();
    let mut accounts: BTreeMap<String, Decimal> = BTreeMap::new();
    for row in &rows {
        let change = amount(&row[at("debit")]) - amount(&row[at("credit")]);
        assert!(!change.is_zero());
        *days.entry(row[at("day")].clone()).or_default() += change;
        *documents.entry(row[at("entry_id")].clone()).or_default() += change;
        *accounts.entry(row[at("account")].clone()).or_default() += change;
    }
    assert_eq!(days.keys().collect::<Vec<_>>(), ["2026-11-24", "2026-11-25", "2026-11-27"]);
    assert!(
        days.values().chain(documents.values()).all(Decimal::is_zero),
        "{days:?} {documents:?}"
    );
    // 162 + 161.99 − 161.99 invoiced, 200 received, 38 given back and taken back again.
    assert_eq!(accounts["money"], Decimal::from(200));
    assert_eq!(accounts["receivables"], Decimal::from(162 - 200));
    assert_eq!(accounts["sales"], Decimal::new(-13613, 2));
    assert_eq!(accounts["tax"], Decimal::new(-2587, 2));
    assert!(rows.iter().any(|row| row[at("document")] == "'=1+1"));
}

#[tokio::test(flavor = "multi_thread")]
async fn exports_are_the_owners() {
    let (studio, owner, _) = agreed().await;
    let maker = studio.maker().await;
    for path in ["/exports", "/exports/everything.json", "/exports/clients.csv"] {
        assert_eq!(maker.get(path).await.status, StatusCode::FORBIDDEN, "{path}");
        assert_eq!(studio.stranger().get(path).await.status, StatusCode::SEE_OTHER, "{path}");
    }
    for path in ["/exports/secrets.csv", "/exports/clients.xml", "/exports/clients"] {
        assert_eq!(owner.get(path).await.status, StatusCode::NOT_FOUND, "{path}");
    }
}
