//! From a cold tap to a stage recorded: one scan and two taps at most, on a phone, at every stage,
//! and with the network gone between the scan and the tap.

use pourday::id::AlloyId;
use pourday::metal::Account;
use pourday::pieces::Stage;

use super::bench::{Line, plate, until};
use super::driver::Browser;
use super::stages::{bench, in_stock, load};

/// A hand that counts what it does.
struct Hand<'a> {
    phone: &'a Browser,
    scans: u32,
    taps: u32,
}

impl<'a> Hand<'a> {
    fn with(phone: &'a Browser) -> Self {
        Self { phone, scans: 0, taps: 0 }
    }

    /// What the code on a ticket leads to.
    async fn scan(&mut self, what: &str) {
        self.scans += 1;
        self.phone.goto(&format!("/t?find={}", what.replace(' ', "+"))).await;
    }

    /// Presses the button of a form, which has to be in sight without unfolding anything.
    async fn tap(&mut self, action: &str) {
        self.taps += 1;
        self.phone.press(action).await;
    }

    async fn tick(&mut self, action: &str, name: &str) {
        self.taps += 1;
        self.phone.set(action, name, "yes").await;
    }

    /// One scan and two taps at most were enough.
    fn was_quick(&self, stage: &str) {
        assert!(self.scans <= 1 && self.taps <= 2, "{stage}: {} taps", self.taps);
    }
}

/// The tap was kept on the phone; it is sent once the line is whole again.
async fn kept_and_sent(phone: &Browser, line: &Line) {
    phone.wait_for("1 step is not sent yet").await;
    line.mend();
}

#[tokio::test(flavor = "multi_thread")]
async fn print_is_recorded_from_the_ticket_of_a_piece() {
    let (studio, labels, line, phone) = bench(2, Stage::Print).await;
    // Nothing is laid out yet: the piece is ticked already; lay out, start.
    studio.print_room().await;
    let mut hand = Hand::with(&phone);
    hand.scan(&labels[0]).await;
    hand.tap("/plates").await;
    let place = phone.path().await;
    hand.tap(&format!("{place}/start")).await;
    until(&studio, &labels[0], ("print", "in_hand")).await;
    hand.was_quick("print, from nothing");
    // A plate is laid out: one tap, though the network is gone.
    let place = plate(&studio, &labels[1..]).await;
    let mut hand = Hand::with(&phone);
    hand.scan(&labels[1]).await;
    line.cut();
    hand.tap(&format!("{place}/start")).await;
    kept_and_sent(&phone, &line).await;
    until(&studio, &labels[1], ("print", "in_hand")).await;
    hand.was_quick("print");
    phone.picture("taps-print").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn cure_is_recorded_from_the_ticket_of_a_pattern() {
    let (studio, labels, line, phone) = bench(1, Stage::Cure).await;
    // It came off a plate, whose resin says how long it is washed and cured.
    let room = studio.print_room().await;
    sqlx::query(
        "WITH b AS (INSERT INTO plates (id, printer_id, resin_lot_id, layer_um, exposure_s, state, created_at, started_at, ended_at)
             VALUES (gen_random_uuid(), $1::uuid, $2::uuid, 50, 6, 'done', $3, $3, $3) RETURNING id, number),
         printed AS (INSERT INTO attempt_stages (attempt_id, stage, entered_at, finished_at, batch)
             SELECT $4, 'print', $3, $3, 'plate:' || b.number FROM b
             ON CONFLICT (attempt_id, stage) DO UPDATE SET batch = EXCLUDED.batch)
         INSERT INTO plate_pieces (plate_id, attempt_id, left_at) SELECT b.id, $4, $3 FROM b",
    )
    .bind(room.printer)
    .bind(room.lot)
    .bind(studio.clock.now())
    .bind(studio.attempt_of(&labels[0]).await)
    .execute(&studio.db.pool)
    .await
    .unwrap();
    let mut hand = Hand::with(&phone);
    hand.scan(&labels[0]).await;
    hand.tap("/cure").await;
    let place = phone.path().await;
    line.cut();
    hand.tap(&format!("{place}/begin")).await;
    kept_and_sent(&phone, &line).await;
    until(&studio, &labels[0], ("cure", "in_hand")).await;
    hand.was_quick("cure");
}

#[tokio::test(flavor = "multi_thread")]
async fn invest_is_recorded_from_the_ticket_of_a_pattern_and_the_tag_of_a_flask() {
    let (studio, labels, line, phone) = bench(2, Stage::Invest).await;
    let mut hand = Hand::with(&phone);
    hand.scan(&labels[0]).await;
    hand.tap("/flasks").await;
    until(&studio, &labels[0], ("invest", "in_hand")).await;
    hand.was_quick("invest, onto a tree");
    // A tree that was weighed is mixed for, the network gone.
    studio.begin(&labels[1], Stage::Invest).await;
    let number = studio.flask(&labels[1..], "weighed").await;
    let mut hand = Hand::with(&phone);
    hand.scan(&format!("flask {number}")).await;
    line.cut();
    hand.tap(&format!("/flasks/{number}/mix")).await;
    kept_and_sent(&phone, &line).await;
    phone.wait_for("Mixing clock").await;
    hand.was_quick("invest, the powder");
    let mut hand = Hand::with(&phone);
    hand.scan(&labels[1]).await;
    hand.tap(&format!("/flasks/{number}/set")).await;
    until(&studio, &labels[1], ("burnout", "waiting")).await;
    hand.was_quick("invest, filled");
}

#[tokio::test(flavor = "multi_thread")]
async fn burnout_is_recorded_from_the_tag_of_a_flask() {
    let (studio, labels, line, phone) = bench(1, Stage::Burnout).await;
    let fired = studio.flask(&labels, "setting").await;
    let number = load(&studio, fired, "planned").await;
    let mut hand = Hand::with(&phone);
    hand.scan(&format!("flask {fired}")).await;
    assert_eq!(phone.path().await, format!("/loads/{number}"), "what comes next is its load");
    line.cut();
    let start = format!("/loads/{number}/start");
    hand.tick(&start, "read_back").await;
    hand.tap(&start).await;
    kept_and_sent(&phone, &line).await;
    until(&studio, &labels[0], ("burnout", "in_hand")).await;
    hand.was_quick("burnout");
}

#[tokio::test(flavor = "multi_thread")]
async fn cast_is_recorded_from_the_ticket_of_a_piece_in_a_hot_flask() {
    let (studio, labels, line, phone) = bench(1, Stage::Cast).await;
    let alloy: AlloyId = sqlx::query_scalar("SELECT alloy_id FROM order_lines")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    in_stock(&studio, alloy, Account::Fresh, 100_000).await;
    let hot = studio.flask(&labels, "hot").await;
    load(&studio, hot, "held").await;
    let mut hand = Hand::with(&phone);
    hand.scan(&labels[0]).await;
    assert_eq!(phone.path().await, "/pours");
    line.cut();
    hand.tap(&format!("/pours/{hot}")).await;
    kept_and_sent(&phone, &line).await;
    until(&studio, &labels[0], ("finish", "waiting")).await;
    hand.was_quick("cast");
}

#[tokio::test(flavor = "multi_thread")]
async fn finish_is_recorded_from_the_ticket_of_a_casting() {
    let (studio, labels, line, phone) = bench(1, Stage::Finish).await;
    let place = format!("/finishing/{}", labels[0]);
    let mut hand = Hand::with(&phone);
    hand.scan(&labels[0]).await;
    line.cut();
    // The weight is typed; it is what the step records.
    phone.set(&format!("{place}/begin"), "raw", "15.60").await;
    hand.tap(&format!("{place}/begin")).await;
    kept_and_sent(&phone, &line).await;
    until(&studio, &labels[0], ("finish", "in_hand")).await;
    hand.was_quick("finish");
}
