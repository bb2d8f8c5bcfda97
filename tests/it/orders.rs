//! Orders: opened once, changed by one at a time, settled by their pieces.

use axum::http::StatusCode;
use pourday::pieces::{self, Act, Happening};

use crate::support::builders_orders::{agree, alloy, block, make_ready, open_block, order};
use crate::support::studio::{Actor, Studio};

const ONCE: &str = "01890a5d-ac96-774b-bcce-b302099a8057";

async fn count(studio: &Studio, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(&studio.db.pool).await.unwrap()
}

async fn state(studio: &Studio, number: i32) -> String {
    sqlx::query_scalar("SELECT state FROM orders WHERE number = $1")
        .bind(number)
        .fetch_one(&studio.db.pool)
        .await
        .unwrap()
}

async fn version(studio: &Studio, number: i32) -> String {
    let version: i64 = sqlx::query_scalar("SELECT version FROM orders WHERE number = $1")
        .bind(number)
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    version.to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn numbers_that_cannot_be_are_told_without_a_model_too() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    alloy(&studio.db.pool, "Sterling", 10.36).await;
    for (quantity, minutes, message) in [
        ("-3", "30", "This must be between 1 and 10000."),
        ("999999999", "30", "This must be between 1 and 10000."),
        ("2", "1000000000000", "Whole minutes are needed, from 0 to 10000."),
    ] {
        let fields = [
            ("new_client", "Ada Quill"),
            ("title", "Knobs"),
            ("quantity", quantity),
            ("finishing_minutes", minutes),
        ];
        let wrong = owner.upload("/orders/new", &fields, &[]).await;
        assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY, "{quantity} {minutes}");
        assert!(wrong.body.contains(message), "{quantity} {minutes}");
    }
    assert_eq!(count(&studio, "SELECT count(*) FROM orders").await, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn weights_add_up_as_they_are_shown() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    // 6 × 10.003 = 60.018 g, shown as 60.02; times three 180.054, which would be shown as 180.05.
    let alloy = alloy(&studio.db.pool, "Odd", 10.003).await;
    let number = order(&owner, alloy, 3).await;
    let page = owner.get(&format!("/orders/{number}")).await;
    assert!(page.page().contains("60.02<span"), "{}", page.body);
    assert!(page.body.contains("180.06<span"), "three times 60.02: {}", page.body);
    assert!(!page.body.contains("180.05<span"), "{}", page.body);
}

async fn line(actor: &Actor, number: i32, path: &str, fields: &[(&str, &str)]) -> StatusCode {
    actor.post(&format!("/orders/{number}/lines{path}"), fields).await.status
}

#[tokio::test(flavor = "multi_thread")]
async fn an_order_with_its_client_and_its_models_is_opened_in_one_go_and_once() {
    let studio = Studio::open().await;
    let alloy = alloy(&studio.db.pool, "Sterling", 10.36).await.to_string();
    let maker = studio.maker().await;
    let fields = [
        ("once", ONCE),
        ("new_client", "Ada Quill"),
        ("title", "Knobs & beads"),
        ("due_on", "2026-12-18"),
        ("alloy", &alloy),
        ("quantity", "6"),
        ("finishing_minutes", ""),
    ];
    let (knob, bead) = (block([10.0, 20.0, 30.0]), block([10.0, 10.0, 10.0]));
    let files: [(&str, &str, &[u8]); 2] =
        [("models", "knob.stl", &knob), ("models", "bead.stl", &bead)];
    let first = maker.upload("/orders/new", &fields, &files).await;
    let again = maker.upload("/orders/new", &fields, &files).await;
    assert_eq!(first.led_to(), again.led_to());
    for (sql, wanted) in [
        ("SELECT count(*) FROM orders", 1),
        ("SELECT count(*) FROM clients", 1),
        ("SELECT count(*) FROM designs", 2),
        ("SELECT count(*) FROM order_lines WHERE quantity = 6", 2),
    ] {
        assert_eq!(count(&studio, sql).await, wanted, "{sql}");
    }
    let page = maker.get(first.led_to()).await;
    assert!(page.page().contains("Knobs &#38; beads"));
    assert!(page.body.contains("62.16<span"), "6 cm³ of 10.36 g/cm³");
    assert!(page.body.contains("435.12<span"), "six of 62.16 g and six of 10.36 g");
    assert!(!page.body.contains("Price it"), "a maker sees no money");
    assert!(maker.get("/orders").await.page().contains("in 23 days"));
    assert!(maker.get("/orders?state=late").await.page().contains("No order matches"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_that_fails_keeps_the_good_files_and_everything_typed() {
    let studio = Studio::open().await;
    let alloy = alloy(&studio.db.pool, "Sterling", 10.36).await.to_string();
    let owner = studio.owner().await;
    let mut fields = vec![
        ("new_client", "Ada Quill"),
        ("title", "Knobs"),
        ("due_on", "2026-11-24"),
        ("alloy", &alloy),
        ("quantity", "2"),
    ];
    let knob = block([10.0, 20.0, 30.0]);
    let files: [(&str, &str, &[u8]); 2] =
        [("models", "knob.stl", &knob), ("models", "broken.stl", b"solid x\n")];
    let answer = owner.upload("/orders/new", &fields, &files).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("This day has passed"));
    assert!(answer.body.contains("“broken.stl”"));
    assert!(answer.body.contains("Ada Quill"));
    assert_eq!(count(&studio, "SELECT count(*) FROM orders").await, 0);
    let kept = answer.body.split("name=\"kept\" value=\"").nth(1).unwrap();
    let kept = kept.split('"').next().unwrap().to_owned();
    fields[2] = ("due_on", "2026-11-25");
    fields.push(("kept", &kept));
    let place = owner.upload("/orders/new", &fields, &[]).await.led_to().to_owned();
    assert!(owner.get(&place).await.page().contains("2 ×</b>"));
    let nobody = owner.upload("/orders/new", &[("title", "For nobody")], &[]).await;
    assert!(nobody.body.contains("Choose a client, or write the name"));
}

#[tokio::test(flavor = "multi_thread")]
async fn lines_change_one_at_a_time_and_a_stale_form_changes_nothing() {
    let studio = Studio::open().await;
    let alloy = alloy(&studio.db.pool, "Sterling", 10.36).await;
    let owner = studio.owner().await;
    let number = order(&owner, alloy, 2).await;
    let alloy = alloy.to_string();
    let seen = version(&studio, number).await;
    let five = [("version", seen.as_str()), ("alloy", &alloy), ("quantity", "5")];
    assert_eq!(line(&owner, number, "/1", &five).await, StatusCode::SEE_OTHER);
    let seven = [("version", seen.as_str()), ("alloy", &alloy), ("quantity", "7")];
    let late = owner.post(&format!("/orders/{number}/lines/1"), &seven).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("Somebody changed this order"));
    assert!(late.body.contains("value=\"7\""), "what was typed is kept");
    assert_eq!(count(&studio, "SELECT quantity::bigint FROM order_lines").await, 5);
    let none = [("version", seen.as_str()), ("alloy", &alloy), ("quantity", "0")];
    assert_eq!(line(&owner, number, "/1", &none).await, StatusCode::UNPROCESSABLE_ENTITY);
    let seen = version(&studio, number).await;
    let more =
        [("version", seen.as_str()), ("design", "301"), ("alloy", &alloy), ("quantity", "1")];
    assert_eq!(line(&owner, number, "", &more).await, StatusCode::SEE_OTHER);
    let seen = version(&studio, number).await;
    let gone = [("version", seen.as_str())];
    assert_eq!(line(&owner, number, "/1/remove", &gone).await, StatusCode::SEE_OTHER);
    let standing = "SELECT count(*) FROM order_lines WHERE removed_at IS NULL";
    assert_eq!(count(&studio, standing).await, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_line_whose_design_is_open_says_so_instead_of_a_weight() {
    let studio = Studio::open().await;
    let alloy = alloy(&studio.db.pool, "Sterling", 10.36).await.to_string();
    let owner = studio.owner().await;
    let fields =
        [("new_client", "Ada"), ("title", "Open"), ("alloy", alloy.as_str()), ("quantity", "1")];
    let open = open_block();
    let files: [(&str, &str, &[u8]); 1] = [("models", "open.stl", &open)];
    let place = owner.upload("/orders/new", &fields, &files).await.led_to().to_owned();
    let page = owner.get(&place).await;
    assert!(page.page().contains("No weight:"));
}

#[tokio::test(flavor = "multi_thread")]
async fn an_order_follows_its_pieces_to_the_hand_over() {
    let studio = Studio::open().await;
    let alloy = alloy(&studio.db.pool, "Sterling", 10.36).await;
    let maker = studio.maker().await;
    let number = order(&maker, alloy, 2).await;
    let place = format!("/orders/{number}");
    let early = maker.post(&format!("{place}/hand-over"), &[]).await;
    assert_eq!(early.status, StatusCode::CONFLICT);
    let made = agree(&studio, number).await;
    let seen = version(&studio, number).await;
    let fields = [("version", seen.as_str()), ("alloy", &alloy.to_string()), ("quantity", "3")];
    let late = maker.post(&format!("{place}/lines/1"), &fields).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("its lines stay as they are"));
    make_ready(&studio, &made[..1]).await;
    assert_eq!(state(&studio, number).await, "agreed", "one piece is still being made");
    maker.post(&format!("{place}/hand-over"), &[]).await.led_to();
    assert_eq!(state(&studio, number).await, "agreed", "one of two is handed over");
    make_ready(&studio, &made[1..]).await;
    assert_eq!(state(&studio, number).await, "ready");
    assert!(maker.get(&place).await.page().contains("Hand over 1 piece"));
    let twice = [("once", ONCE)];
    maker.post(&format!("{place}/hand-over"), &twice).await.led_to();
    maker.post(&format!("{place}/hand-over"), &twice).await.led_to();
    assert_eq!(state(&studio, number).await, "handed_over");
    let events = "SELECT count(*) FROM piece_events WHERE kind = 'handed_over'";
    assert_eq!(count(&studio, events).await, 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn an_undone_finish_takes_ready_back() {
    let studio = Studio::open().await;
    let alloy = alloy(&studio.db.pool, "Sterling", 10.36).await;
    let owner = studio.owner().await;
    let number = order(&owner, alloy, 1).await;
    let made = agree(&studio, number).await;
    make_ready(&studio, &made).await;
    let mut tx = studio.db.pool.begin().await.unwrap();
    let now = studio.clock.now();
    let seen: i64 =
        sqlx::query_scalar("SELECT version FROM pieces").fetch_one(&mut *tx).await.unwrap();
    pieces::undo(&mut tx, made[0], seen, &Act::new(now, None)).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(state(&studio, number).await, "agreed");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_cancelled_order_cancels_what_is_not_ready_and_stays_cancelled() {
    let studio = Studio::open().await;
    let alloy = alloy(&studio.db.pool, "Sterling", 10.36).await;
    let owner = studio.owner().await;
    let number = order(&owner, alloy, 2).await;
    let made = agree(&studio, number).await;
    make_ready(&studio, &made[..1]).await;
    let place = format!("/orders/{number}/cancel");
    owner.post(&place, &[("why", "The wedding is off")]).await.led_to();
    assert_eq!(state(&studio, number).await, "cancelled");
    assert_eq!(count(&studio, "SELECT count(*) FROM pieces WHERE standing = 'cancelled'").await, 1);
    assert_eq!(owner.post(&place, &[]).await.status, StatusCode::CONFLICT);
    let page = owner.get(&format!("/orders/{number}")).await;
    assert!(page.page().contains("The wedding is off"));
    let mut tx = studio.db.pool.begin().await.unwrap();
    let act = Act::new(studio.clock.now(), None);
    let again = pieces::record(&mut tx, &made[1..], &Happening::Cancelled, &act).await;
    assert!(again.is_err());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_due_day_that_has_passed_may_stay_but_not_be_chosen() {
    let studio = Studio::open().await;
    let alloy = alloy(&studio.db.pool, "Sterling", 10.36).await;
    let owner = studio.owner().await;
    let number = order(&owner, alloy, 1).await;
    sqlx::query("UPDATE orders SET due_on = '2026-11-20'").execute(&studio.db.pool).await.unwrap();
    let place = format!("/orders/{number}");
    assert!(owner.get("/orders?state=late").await.page().contains("5 days late"));
    let fields = |due: &'static str, version: &'static str| {
        [("title", "Knobs"), ("due_on", due), ("version", version)]
    };
    owner.post(&place, &fields("2026-11-20", "1")).await.led_to();
    let worse = owner.post(&place, &fields("2026-11-19", "2")).await;
    assert_eq!(worse.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(worse.body.contains("This day has passed"));
    let stale = owner.post(&place, &fields("2026-11-20", "1")).await;
    assert_eq!(stale.status, StatusCode::CONFLICT);
}

#[tokio::test]
async fn an_address_with_letters_for_a_number_is_told_as_a_page() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    for place in ["/orders/abc", "/flasks/99999999999999", "/loads/-"] {
        let page = owner.get(place).await;
        assert_eq!(page.status, StatusCode::NOT_FOUND, "{place}");
        assert!(page.body.contains("There is nothing at this address"), "{place}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn no_alloy_is_chosen_by_its_name() {
    let studio = Studio::open().await;
    let pool = &studio.db.pool;
    let first = alloy(pool, "A gold that comes first", 13.0).await;
    let other = alloy(pool, "Silver", 10.0).await;
    let owner = studio.owner().await;
    let chosen = |id: pourday::id::AlloyId| format!("value=\"{id}\" selected");
    let page = owner.get("/orders/new").await;
    assert!(page.page().contains("value=\"\" selected>choose"), "{}", page.body);
    assert!(!page.body.contains(&chosen(first)));
    let knob = block([10.0, 20.0, 30.0]);
    let fields =
        [("new_client", "Ada Quill"), ("title", "Knobs"), ("alloy", ""), ("quantity", "1")];
    let asked = owner.upload("/orders/new", &fields, &[("models", "knob.stl", &knob)]).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(asked.body.contains("Choose one of these."));
    let number = order(&owner, other, 1).await;
    let page = owner.get(&format!("/orders/{number}")).await;
    // On its line, and for what is added to the order.
    assert_eq!(page.page().matches(&chosen(other)).count(), 3);
    let client: String =
        sqlx::query_scalar("SELECT client_id::text FROM orders").fetch_one(pool).await.unwrap();
    let page = owner.get(&format!("/orders/new?client={client}")).await;
    assert!(page.page().contains(&chosen(other)));
    // A design that was finished before brings what that took.
    sqlx::query("UPDATE designs SET finishing_minutes = 17").execute(pool).await.unwrap();
    let version: String =
        sqlx::query_scalar("SELECT version::text FROM orders").fetch_one(pool).await.unwrap();
    let id = other.to_string();
    let more = [
        ("version", version.as_str()),
        ("design", "301"),
        ("alloy", id.as_str()),
        ("quantity", "1"),
        ("finishing_minutes", ""),
    ];
    owner.post(&format!("/orders/{number}/lines"), &more).await.led_to();
    let minutes: i32 = sqlx::query_scalar("SELECT finishing_minutes FROM order_lines WHERE n = 2")
        .fetch_one(pool)
        .await
        .unwrap();
    assert_eq!(minutes, 17);
}
