//! Printers, resins and bottles: the owner's, added once, changed by one at a time.

use axum::http::StatusCode;

use crate::support::studio::Studio;

const PRINTER: [(&str, &str); 10] = [
    ("name", "Left printer"),
    ("width", "120"),
    ("depth", "68"),
    ("height", "155"),
    ("layer", "50"),
    ("exposure", "6,5"),
    ("bottom_layers", "5"),
    ("bottom_exposure", "40"),
    ("lift", "6"),
    ("hour_rate", "3.50"),
];

const RESIN: [(&str, &str); 6] = [
    ("name", "Green castable"),
    ("density", "1.12"),
    ("shrinkage", "0.5"),
    ("wash", "4"),
    ("cure", "25"),
    ("source", "maker's sheet"),
];

const KEY: (&str, &str) = ("once", "01890a5d-ac96-774b-bcce-b302099a8057");

#[tokio::test(flavor = "multi_thread")]
async fn a_printer_is_added_once_and_its_name_is_its_own() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let form = [&PRINTER[..], &[KEY]].concat();
    let place = owner.post("/studio/printers", &form).await.led_to().to_owned();
    assert_eq!(owner.post("/studio/printers", &form).await.led_to(), place);
    let page = owner.get("/studio/printers").await;
    assert!(page.page().contains("Left printer"));
    assert!(owner.get(&place).await.page().contains("value=\"6.5\""));
    let second = owner.post("/studio/printers", &PRINTER).await;
    assert_eq!(second.status, StatusCode::CONFLICT);
    assert!(second.body.contains("a printer of that name already"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stale_printer_form_changes_nothing() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let place = owner.post("/studio/printers", &PRINTER).await.led_to().to_owned();
    let first = [&PRINTER[1..], &[("name", "Right printer"), ("version", "1")]].concat();
    owner.post(&place, &first).await.led_to();
    let late = [&PRINTER[1..], &[("name", "Old printer"), ("version", "1")]].concat();
    let late = owner.post(&place, &late).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("Old printer"), "what was typed is kept");
    assert!(owner.get("/studio/printers").await.page().contains("Right printer"));
    // Taken out of use from a page that is current, and refused from one that is not.
    let retire = format!("{place}/retire");
    let stale = owner.post(&retire, &[("version", "1"), ("retire", "yes")]).await;
    assert_eq!(stale.status, StatusCode::CONFLICT);
    owner.post(&retire, &[("version", "2"), ("retire", "yes")]).await.led_to();
    assert!(owner.get("/studio/printers").await.page().contains("out of use"));
}

#[tokio::test(flavor = "multi_thread")]
async fn wrong_figures_come_back_with_their_messages() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let answer = owner
        .post(
            "/studio/printers",
            &[("name", "P"), ("width", "wide"), ("layer", "2"), ("depth", "NaN")],
        )
        .await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("“wide” is not a number."));
    assert!(answer.body.contains("“NaN” is not a number."));
    assert!(answer.body.contains("between 5 and 500"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bottle_is_opened_once_and_used_up_once() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let resin = owner.post("/studio/resins", &RESIN).await.led_to().to_owned();
    let lots = format!("{resin}/lots");
    let bottle = [("lot", "A-7"), ("volume", "500"), ("opened_on", "2026-11-20"), KEY];
    owner.post(&lots, &bottle).await.led_to();
    owner.post(&lots, &bottle).await.led_to();
    let page = owner.get(&resin).await;
    assert_eq!(page.page().matches("<b>A-7</b>").count(), 1);
    let again = owner.post(&lots, &bottle[..3]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(again.body.contains("already noted"));
    let at = page.body.find("/lots/").unwrap() + "/lots/".len();
    let used_up = format!("{lots}/{}/used-up", &page.body[at..at + 36]);
    owner.post(&used_up, &[]).await.led_to();
    owner.post(&used_up, &[]).await.led_to();
    let noted: i64 = sqlx::query_scalar("SELECT count(*) FROM audit WHERE action = 'used up'")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(noted, 1);
    assert!(owner.get(&resin).await.page().contains("used up"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_maker_sees_neither_rates_nor_the_forms() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    for path in ["/studio/printers", "/studio/resins"] {
        assert_eq!(maker.get(path).await.status, StatusCode::FORBIDDEN);
        assert_eq!(maker.post(path, &PRINTER).await.status, StatusCode::FORBIDDEN);
    }
}
