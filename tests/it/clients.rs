//! Clients: added once, changed by one at a time, never lost while typing.

use axum::http::StatusCode;

use crate::support::studio::Studio;

#[tokio::test(flavor = "multi_thread")]
async fn a_form_sent_twice_adds_one_client() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let form = [("name", "Ada Quill"), ("once", "01890a5d-ac96-774b-bcce-b302099a8057")];
    let first = owner.post("/clients", &form).await;
    let again = owner.post("/clients", &form).await;
    assert_eq!(first.led_to(), again.led_to());
    let count: i64 = sqlx::query_scalar("SELECT count(*) FROM clients")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(count, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_form_comes_back_with_what_was_typed() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let answer =
        owner.post("/clients", &[("name", ""), ("email", "nonsense"), ("phone", "0123 <4>")]).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("This is needed."));
    assert!(answer.body.contains("does not look like an e-mail address"));
    assert!(answer.body.contains("0123 &#60;4&#62;"), "kept and escaped");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stale_form_changes_nothing_and_keeps_what_was_typed() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let place = owner.post("/clients", &[("name", "Ada Quill")]).await.led_to().to_owned();
    owner.post(&place, &[("name", "Ada Quill-Hart"), ("version", "1")]).await.led_to();
    let late = owner.post(&place, &[("name", "Ada Q."), ("version", "1")]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("Somebody changed this client"));
    assert!(late.body.contains("Ada Q."));
    assert!(owner.get("/clients").await.page().contains("Ada Quill-Hart"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stranger_is_sent_to_sign_in_and_comes_back() {
    let studio = Studio::open().await;
    studio.owner().await;
    let answer = studio.stranger().get("/clients?search=a").await;
    assert_eq!(answer.led_to(), "/sign-in?next=/clients%3Fsearch%3Da");
}
