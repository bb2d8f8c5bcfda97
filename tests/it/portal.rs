//! The client's page: one order, one yes, and nothing of anybody else.

use axum::http::StatusCode;

use crate::support::builders_orders::{
    agree, alloy, link, make_ready, order, post, price, ready_to_price, send_quote, turned,
};
use crate::support::studio::{Actor, Studio, moment};

const ONCE: &str = "01890a5d-ac96-774b-bcce-b302099a8057";

struct Sent {
    studio: Studio,
    owner: Actor,
    client: Actor,
    number: i32,
    page: String,
}

async fn sent() -> Sent {
    let (studio, owner, number) = ready_to_price().await;
    let page = send_quote(&studio, &owner, number).await;
    let client = studio.stranger();
    Sent { studio, owner, client, number, page }
}

impl Sent {
    async fn yes(&self, fields: &[(&str, &str)]) -> crate::support::studio::Answer {
        self.client.post(&format!("{}/yes", self.page), fields).await
    }

    async fn one(&self, sql: &'static str) -> String {
        sqlx::query_scalar(sql).fetch_one(&self.studio.db.pool).await.unwrap()
    }

    async fn pieces(&self) -> String {
        self.one("SELECT count(*)::text FROM pieces").await
    }
}

const YES: [(&str, &str); 2] = [("quote", "1"), ("name", "Ada Quill")];

#[tokio::test(flavor = "multi_thread")]
async fn a_client_reads_the_quote_and_nothing_of_what_it_costs_the_studio() {
    let sent = sent().await;
    let page = sent.client.get(&sent.page).await;
    for wanted in
        ["323.99", "136.13", "272.26", "51.73", "162.00", "Dear Ada", "valid until Wed 9 Dec"]
    {
        assert!(page.page().contains(wanted), "{wanted}");
    }
    let words = page.body.to_lowercase();
    for secret in
        ["217.80", "198.00", "19.80", "margin", "overhead", "we earn", "below cost", "bench"]
    {
        assert!(!words.contains(secret), "{secret}");
    }
    let address = page.body.split("src=\"/c/").nth(1).unwrap().split('"').next().unwrap();
    let picture = sent.client.get(&format!("/c/{address}")).await;
    assert_eq!(picture.status, StatusCode::OK);
    let listed = sent.owner.get(&format!("/orders/{}/quotes", sent.number)).await;
    assert!(listed.page().contains("First opened"));
}

/// The order with a due day of its own, and a draft that says another.
async fn two_days() -> (Sent, String) {
    let sent = sent().await;
    let place = format!("/orders/{}", sent.number);
    let version = turned(&sent.studio, sent.number, &[]).await[0].1.clone();
    let due = [("version", version.as_str()), ("title", "Knobs"), ("due_on", "2026-12-20")];
    sent.owner.post(&place, &due).await.led_to();
    let fields = turned(&sent.studio, sent.number, &[("ready_by", "2026-12-15")]).await;
    let draft = post(&sent.owner, &format!("{place}/price"), &fields).await.led_to().to_owned();
    (sent, draft)
}

#[tokio::test(flavor = "multi_thread")]
async fn the_day_that_is_said_yes_to_is_the_day_of_the_order() {
    let (sent, draft) = two_days().await;
    let send = format!("{draft}/send");
    let asked = sent.owner.post(&send, &[("message", "")]).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(asked.body.contains("Choose the day that holds"));
    assert!(asked.body.contains("Tue 15 Dec, as this quote says"));
    assert!(asked.body.contains("Sun 20 Dec, as the order says"));
    let neither = sent.owner.post(&send, &[("message", ""), ("day", "2026-12-17")]).await;
    assert_eq!(neither.status, StatusCode::UNPROCESSABLE_ENTITY);
    sent.owner.post(&send, &[("message", ""), ("day", "2026-12-15")]).await.led_to();
    let before = sent.client.get(&sent.page).await;
    assert!(before.page().contains("Ready by Tue 15 Dec if you say yes now"));
    assert!(!before.body.contains("20 Dec"));
    sent.yes(&[("quote", "2"), ("name", "Ada Quill")]).await.led_to();
    assert_eq!(sent.one("SELECT due_on::text FROM orders").await, "2026-12-15");
    let after = sent.client.get(&sent.page).await;
    assert!(after.page().contains("Expected by Tue 15 Dec"));
    assert!(after.body.contains("Ready by Tue 15 Dec."));
    assert!(!after.body.contains("if you say yes now") && !after.body.contains("20 Dec"));
    assert_eq!(
        sent.one("SELECT max(promised_on)::text FROM promises WHERE quote_n = 2").await,
        "2026-12-15"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn the_owner_may_keep_the_day_of_the_order_and_the_quote_says_it() {
    let (sent, draft) = two_days().await;
    let chosen = [("message", ""), ("day", "2026-12-20")];
    sent.owner.post(&format!("{draft}/send"), &chosen).await.led_to();
    let page = sent.client.get(&sent.page).await;
    assert!(page.page().contains("Ready by Sun 20 Dec if you say yes now"));
    assert!(!page.body.contains("15 Dec"));
    let promised = "SELECT promised_on::text FROM promises WHERE quote_n = 2";
    assert_eq!(sent.one(promised).await, "2026-12-20");
    let inputs = "SELECT content->'inputs'->>'ready_by' FROM quotes WHERE n = 2";
    assert_eq!(sent.one(inputs).await, "2026-12-20", "the next price starts from that day");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_yes_sent_twice_makes_the_pieces_once() {
    let sent = sent().await;
    let nameless = sent.yes(&[("quote", "1"), ("name", " ")]).await;
    assert_eq!(nameless.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(nameless.body.contains("Please type your name"));
    let fields = [("once", ONCE), YES[0], YES[1]];
    assert_eq!(sent.yes(&fields).await.led_to(), sent.page);
    assert_eq!(sent.yes(&fields).await.led_to(), sent.page);
    let again = sent.yes(&YES).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(again.body.contains("You have said yes already"));
    assert_eq!(sent.pieces().await, "2");
    assert_eq!(sent.one("SELECT state FROM orders").await, "agreed");
    assert_eq!(sent.one("SELECT answered_name FROM quotes").await, "Ada Quill");
    assert_eq!(sent.one("SELECT due_on::text FROM orders").await, "2026-12-18");
    let page = sent.client.get(&sent.page).await;
    assert!(page.page().contains("It is being made."));
    assert!(page.body.contains("is due before work begins"));
    assert!(page.body.contains("Waiting for its turn"));
    let studio = sent.owner.get(&format!("/orders/{}", sent.number)).await;
    assert!(studio.page().contains("Ada Quill said yes"));
    assert!(studio.body.contains("the client: said yes"));
}

#[tokio::test(flavor = "multi_thread")]
async fn two_who_say_yes_at_once_make_one_order() {
    let sent = sent().await;
    let (one, other) = tokio::join!(sent.yes(&YES), sent.yes(&YES));
    let mut answers = [one.status, other.status];
    answers.sort();
    assert_eq!(answers, [StatusCode::SEE_OTHER, StatusCode::CONFLICT]);
    assert_eq!(sent.pieces().await, "2");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_quote_that_has_run_out_is_not_accepted() {
    let sent = sent().await;
    sent.studio.clock.set(moment("2026-12-09T22:59:00Z"));
    assert!(sent.client.get(&sent.page).await.page().contains("Yes, make it"));
    sent.studio.clock.set(moment("2026-12-09T23:01:00Z"));
    let late = sent.yes(&YES).await;
    assert_eq!(late.status, StatusCode::CONFLICT, "midnight in Berlin has passed");
    assert!(late.body.contains("This quote has run out"));
    assert!(!late.body.contains("Yes, make it"));
    assert_eq!(sent.pieces().await, "0");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_quote_replaced_meanwhile_is_not_accepted() {
    let sent = sent().await;
    send_quote(&sent.studio, &sent.owner, sent.number).await;
    let late = sent.yes(&YES).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("The studio replaced this quote"));
    assert_eq!(sent.pieces().await, "0");
    sent.yes(&[("quote", "2"), ("name", "Ada Quill")]).await.led_to();
    assert_eq!(sent.pieces().await, "2");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_quote_is_sent_or_accepted_but_never_both_at_once() {
    let sent = sent().await;
    let fields = turned(&sent.studio, sent.number, &[]).await;
    let place = format!("/orders/{}/price", sent.number);
    let draft = post(&sent.owner, &place, &fields).await.led_to().to_owned();
    let send = format!("{draft}/send");
    let (yes, resent) = tokio::join!(sent.yes(&YES), sent.owner.post(&send, &[]));
    let accepted = yes.status == StatusCode::SEE_OTHER;
    let replaced = resent.status == StatusCode::SEE_OTHER;
    assert!(accepted != replaced, "{} {}", yes.status, resent.status);
    assert_eq!(sent.pieces().await, if accepted { "2" } else { "0" });
}

#[tokio::test(flavor = "multi_thread")]
async fn a_changed_order_cannot_be_accepted_by_its_old_quote() {
    let sent = sent().await;
    let version = turned(&sent.studio, sent.number, &[]).await[0].1.clone();
    let remove = format!("/orders/{}/lines/1/remove", sent.number);
    sent.owner.post(&remove, &[("version", &version)]).await.led_to();
    let late = sent.yes(&YES).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("The order changed after this quote was sent"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_client_declines_with_words_and_the_studio_reads_them() {
    let sent = sent().await;
    let place = format!("{}/no", sent.page);
    sent.client.post(&place, &[("quote", "1"), ("words", "In bronze, perhaps")]).await.led_to();
    assert_eq!(sent.one("SELECT state FROM orders").await, "enquiry");
    let page = sent.owner.get(&format!("/orders/{}", sent.number)).await;
    assert!(page.page().contains("In bronze, perhaps"));
    let late = sent.yes(&YES).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("no longer open"));
    assert!(sent.client.get(&sent.page).await.page().contains("You declined this quote"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_link_ends_when_it_is_revoked_replaced_or_too_old() {
    let sent = sent().await;
    let gone = |answer: crate::support::studio::Answer| {
        assert_eq!(answer.status, StatusCode::NOT_FOUND);
        assert!(answer.body.contains("This page has ended"), "{}", answer.body);
    };
    let mut altered = sent.page.clone();
    let last = if altered.ends_with('A') { 'B' } else { 'A' };
    altered.pop();
    altered.push(last);
    gone(sent.client.get(&altered).await);
    gone(sent.client.get("/c/nonsense").await);
    let place = format!("/orders/{}/link", sent.number);
    sent.owner.post(&place, &[]).await.led_to();
    gone(sent.client.get(&sent.page).await);
    gone(sent.yes(&YES).await);
    gone(sent.client.get(&format!("{}/live", sent.page)).await);
    let next = link(&sent.owner, sent.number).await;
    assert!(sent.client.get(&next).await.page().contains("323.99"));
    sent.owner.post(&format!("{place}/revoke"), &[]).await.led_to();
    gone(sent.client.get(&next).await);
    sent.owner.post(&place, &[]).await.led_to();
    let last = link(&sent.owner, sent.number).await;
    sent.studio.clock.set(moment("2027-01-24T08:59:00Z"));
    sent.client.get(&last).await.page();
    sent.studio.clock.set(moment("2027-01-24T09:01:00Z"));
    gone(sent.client.get(&last).await);
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_of_another_client_can_be_reached_through_a_link() {
    let sent = sent().await;
    sqlx::query("UPDATE clients SET name = 'Bertil Other'")
        .execute(&sent.studio.db.pool)
        .await
        .unwrap();
    let alloy = alloy(&sent.studio.db.pool, "Another silver", 10.3).await;
    let mine = order(&sent.owner, alloy, 1).await;
    let item = alloy.to_string();
    price(&sent.studio.db.pool, ("alloy", &item, "g"), "0.80", "2026-11-25").await;
    let page = send_quote(&sent.studio, &sent.owner, mine).await;
    let shown = sent.client.get(&page).await;
    assert!(!shown.page().contains("Bertil Other"));
    assert!(!shown.body.contains(&format!("Order {}", sent.number)));
    for path in ["/pictures/2", "/pictures/-1", "/pictures/x", "/orders", "/../orders"] {
        let answer = sent.client.get(&format!("{page}{path}")).await;
        assert!(answer.status.is_client_error(), "{path}: {}", answer.status);
    }
    let (_, code) = page.split_once('.').unwrap();
    let (id, _) = sent.page.split_once('.').unwrap();
    let crossed = sent.client.get(&format!("{id}.{code}")).await;
    assert_eq!(crossed.status, StatusCode::NOT_FOUND);
    for path in ["/orders", "/files/0198c000-0000-7000-8000-000000000000", "/live"] {
        assert_eq!(sent.client.get(path).await.status, StatusCode::SEE_OTHER, "{path}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn afterwards_the_page_follows_the_pieces_to_the_hand_over() {
    let sent = sent().await;
    let made = agree(&sent.studio, sent.number).await;
    sqlx::query(
        "UPDATE quotes SET state = 'accepted', answered_at = sent_at, answered_name = 'Ada'",
    )
    .execute(&sent.studio.db.pool)
    .await
    .unwrap();
    make_ready(&sent.studio, &made[..1]).await;
    let page = sent.client.get(&sent.page).await;
    assert!(page.page().contains("Ready for you"));
    assert!(page.body.contains("Waiting for its turn"));
    assert!(page.body.contains("25 Nov</time>"), "each step has its date");
    make_ready(&sent.studio, &made[1..]).await;
    assert!(sent.client.get(&sent.page).await.page().contains("It is ready for you."));
    let hand_over = format!("/orders/{}/hand-over", sent.number);
    sent.owner.post(&hand_over, &[]).await.led_to();
    assert!(sent.client.get(&sent.page).await.page().contains("It is with you."));
}
