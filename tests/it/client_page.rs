//! The client's page beyond the quote: questions, pictures, invoices, and nothing of anybody else.

use axum::body::Body;
use axum::http::StatusCode;

use crate::invoices::{agreed, issued, one};
use crate::support::builders_orders::{link, order, send_quote};
use crate::support::studio::{Actor, Studio};

/// A small picture of one colour.
fn picture(red: u8) -> Vec<u8> {
    let mut out = std::io::Cursor::new(Vec::new());
    image::RgbImage::from_pixel(8, 8, image::Rgb([red, 80, 40]))
        .write_to(&mut out, image::ImageFormat::Png)
        .unwrap();
    out.into_inner()
}

async fn get(actor: &Actor, path: &str) -> (StatusCode, Vec<u8>) {
    let request = actor.request("GET", path).body(Body::empty()).unwrap();
    let (status, _, bytes) = actor.bytes(request).await;
    (status, bytes)
}

/// Another client's order with a page of its own.
async fn stranger_order(studio: &Studio, owner: &Actor) -> String {
    let alloy: uuid::Uuid =
        sqlx::query_scalar("SELECT id FROM alloys").fetch_one(&studio.db.pool).await.unwrap();
    let number = order(owner, pourday::id::AlloyId(alloy), 1).await;
    send_quote(studio, owner, number).await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_client_asks_and_the_studio_answers() {
    let (studio, owner, number) = agreed().await;
    let page = link(&owner, number).await;
    let client = studio.stranger();
    let empty = client.post(&format!("{page}/ask"), &[("question", "  ")]).await;
    assert_eq!(empty.status, StatusCode::UNPROCESSABLE_ENTITY);
    client.post(&format!("{page}/ask"), &[("question", "Can it be <darker>?")]).await.led_to();
    assert!(client.get(&page).await.page().contains("Can it be &#60;darker&#62;?"));
    let maker = studio.maker().await;
    assert!(maker.get("/questions").await.page().contains(&format!("/orders/{number}/questions")));
    let place = format!("/orders/{number}/questions");
    assert!(maker.get(&place).await.page().contains("waits for an answer"));
    maker.post(&place, &[("answer", "Yes, with a patina.")]).await.led_to();
    let seen = client.get(&page).await;
    assert!(seen.page().contains("Yes, with a patina."));
    assert!(seen.body.contains("maker,"), "with the name of who answered");
    assert!(maker.get("/questions").await.page().contains("No client waits for an answer."));
    client.post(&format!("{page}/ask"), &[("question", "Thanks!")]).await.led_to();
    owner.post(&format!("{place}/settle"), &[]).await.led_to();
    assert!(maker.get("/questions").await.page().contains("No client waits for an answer."));
    for _ in 0..18 {
        client.post(&format!("{page}/ask"), &[("question", "And?")]).await.led_to();
    }
    let much = client.post(&format!("{page}/ask"), &[("question", "And now?")]).await;
    assert_eq!(much.status, StatusCode::TOO_MANY_REQUESTS);
    assert!(much.body.contains("And now?"), "what was typed is kept");
    let other = stranger_order(&studio, &owner).await;
    assert!(!client.get(&other).await.page().contains("patina"));
    owner.post(&format!("/orders/{number}/link/revoke"), &[]).await.led_to();
    let gone = client.post(&format!("{page}/ask"), &[("question", "Hello?")]).await;
    assert_eq!(gone.status, StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn only_pictures_that_were_shared_are_shown_and_only_on_their_own_page() {
    let (studio, owner, number) = agreed().await;
    let page = link(&owner, number).await;
    let piece = format!("/pieces/{number}-1");
    for red in [10, 200] {
        let photo = picture(red);
        let name = ("photo", "a.png", photo.as_slice());
        owner
            .upload(&format!("{piece}/photos"), &[("caption", "On the tree")], &[name])
            .await
            .led_to();
    }
    let client = studio.stranger();
    assert!(!client.get(&page).await.page().contains("/photos/"));
    let photos: Vec<String> =
        sqlx::query_scalar("SELECT id::text FROM photos ORDER BY taken_at, id")
            .fetch_all(&studio.db.pool)
            .await
            .unwrap();
    for photo in &photos {
        assert_eq!(get(&client, &format!("{page}/photos/{photo}")).await.0, StatusCode::NOT_FOUND);
    }
    let share = format!("{piece}/photos/{}/share", photos[0]);
    owner.post(&share, &[("shared", "yes")]).await.led_to();
    assert!(client.get(&page).await.page().contains(&format!("{page}/photos/{}", photos[0])));
    assert_eq!(get(&client, &format!("{page}/photos/{}", photos[0])).await.0, StatusCode::OK);
    assert_eq!(
        get(&client, &format!("{page}/photos/{}", photos[1])).await.0,
        StatusCode::NOT_FOUND
    );
    let other = stranger_order(&studio, &owner).await;
    let crossed = format!("{other}/photos/{}", photos[0]);
    assert_eq!(
        get(&client, &crossed).await.0,
        StatusCode::NOT_FOUND,
        "not by another client's page"
    );
    owner.post(&share, &[("shared", "")]).await.led_to();
    assert_eq!(
        get(&client, &format!("{page}/photos/{}", photos[0])).await.0,
        StatusCode::NOT_FOUND
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn invoices_are_shown_when_issued_and_told_as_paid() {
    let (studio, owner, number) = agreed().await;
    let page = link(&owner, number).await;
    let client = studio.stranger();
    assert!(client.get(&page).await.page().contains("is due before work begins"));
    let draft = crate::invoices::draft(&owner, number, "deposit").await;
    let draft = draft.rsplit('/').next().unwrap().to_owned();
    assert_eq!(
        get(&client, &format!("{page}/invoices/{draft}")).await.0,
        StatusCode::NOT_FOUND,
        "no drafts"
    );
    let deposit = issued(&owner, number, "deposit").await;
    let id = deposit.rsplit('/').next().unwrap().to_owned();
    let seen = client.get(&page).await;
    assert!(seen.page().contains("Invoice 1 for the deposit"));
    assert!(seen.body.contains("to be paid by"));
    assert!(!seen.body.contains("is due before work begins"), "the invoice says it now");
    let (status, bytes) = get(&client, &format!("{page}/invoices/{id}")).await;
    assert_eq!(status, StatusCode::OK);
    assert!(bytes.starts_with(b"%PDF-"));
    let ada = one(&studio, "SELECT id::text FROM clients ORDER BY created_at LIMIT 1").await;
    let pay = [("amount", "162"), ("on", "2026-11-25")];
    owner.post(&format!("/clients/{ada}/payments"), &pay).await.led_to();
    assert!(client.get(&page).await.page().contains("paid, thank you"));
    let other = stranger_order(&studio, &owner).await;
    assert_eq!(get(&client, &format!("{other}/invoices/{id}")).await.0, StatusCode::NOT_FOUND);
    assert!(!client.get(&other).await.page().contains("Invoice 1"));
    let page_source = client.get(&page).await.body;
    for outside in ["http://", "https://"] {
        assert!(!page_source.contains(outside), "nothing is fetched from elsewhere: no tracking");
    }
}
