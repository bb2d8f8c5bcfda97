//! The last two weeks up to this minute: castings at the finishing bench, a kiln that was loaded
//! yesterday, and what stands on the bench today. Hours are counted back in those in which
//! somebody was there, so that whenever the demo is made, nobody works at night.

use foundry::shapes::Piece;

use super::DemoFault;
use super::bench::Bench;
use super::book::{self, FIRST};
use super::print::Run;
use super::story::Story;
use crate::clock::{Day, Moment};

/// Castings that are being finished, with what was made again for the orders before.
const FINISHING: i32 = 1016;
/// What went into the kiln last.
const IN_THE_KILN: [i32; 3] = [1017, 1018, 1019];
/// Pendants of an edition: some in a kiln, some set, some still on their tree.
const EDITION: i32 = 1020;
/// Knobs that are washed now.
const WASHED: i32 = 1021;
/// Bands in the printer.
const PRINTED: i32 = 1022;
/// Priced, but nobody has said yes.
const QUOTED: i32 = 1023;
/// Just talked about.
const ENQUIRY: i32 = 1024;
/// A hook that came off its supports follows the others later.
const FOLLOWS: &str = "1017-4";

/// When a day's flasks are treed, weighed, filled and planned: minutes before the last leaves.
struct Afternoon {
    tree: i64,
    weigh: i64,
    fill: i64,
    plan: i64,
}

/// A whole day, and a Saturday morning.
const WHOLE: Afternoon = Afternoon { tree: 340, weigh: 300, fill: 280, plan: 150 };
const MORNING: Afternoon = Afternoon { tree: 230, weigh: 215, fill: 195, plan: 60 };
/// A day with more minutes than this from its first to its last is a whole one.
const LONG_DAY_MIN: i64 = 360;

impl Story<'_> {
    pub(super) async fn present(&self, say: &impl Fn(&str)) -> Result<(), DemoFault> {
        say("last week: a signet ring and hinges");
        for number in FINISHING - 1..=FINISHING {
            self.order(number, "0").await?;
        }
        let orders: Vec<i32> = (FIRST..=FINISHING).collect();
        self.bench.print(&orders, self.calendar.on(6, 8, 40)).await?;
        let curing = self.calendar.on(5, 9, 0);
        let printed = self.bench.waiting(&orders, "cure").await?;
        self.bench.cure(&printed, "water", curing, &[]).await?;
        let flasks = self.bench.tree(&orders, self.calendar.on(5, 11, 0), 8, true).await?;
        let (weighing, filling) = (self.calendar.on(5, 13, 20), self.calendar.on(5, 13, 45));
        self.bench.invest_all(&flasks, weighing, filling).await?;
        self.bench.plan(self.calendar.on(5, 15, 30)).await?;
        self.bench.fire(self.calendar.on(3, 12, 0)).await?;

        say("this week: what is in the kiln");
        for number in IN_THE_KILN {
            self.order(number, "0").await?;
        }
        self.order(EDITION, "1").await?;
        for number in [WASHED, PRINTED] {
            self.order(number, "0").await?;
        }
        // What was made again is finished first, then what is new.
        let (again, new): (Vec<i32>, Vec<i32>) =
            orders.iter().partition(|number| **number < FINISHING - 1);
        let done = self.bench.finish(&again, self.calendar.on(3, 13, 30), usize::MAX).await?;
        self.hand_over(&orders, self.calendar.next_open(done.plus_minutes(30))).await?;
        self.bench.finish(&new, self.calendar.on(2, 13, 20), 3).await?;
        self.kiln_and_bench().await?;
        self.bench.take_in_hand(&new, self.calendar.before(25)).await?;

        say("what is still being talked about");
        self.larger(Piece::LobedBead, 1.1).await?;
        self.owner.fill("/designs/known", "/designs/known", &[]).await?;
        self.quote_only().await?;
        self.open(ENQUIRY).await?;
        self.split().await
    }

    /// Yesterday's flasks, today's, and what is printed and washed.
    async fn kiln_and_bench(&self) -> Result<(), DemoFault> {
        let (today, yesterday) = self.days();
        self.bench.print(&IN_THE_KILN, self.calendar.on(4, 13, 20)).await?;
        let printed = self.bench.waiting(&IN_THE_KILN, "cure").await?;
        self.bench.cure(&printed, "water", self.calendar.on(3, 9, 0), &[]).await?;
        self.bench.print(&[EDITION, WASHED], self.calendar.on(2, 9, 0)).await?;
        let pendants = self.bench.waiting(&[EDITION], "cure").await?;
        self.bench.cure(&pendants, "water", self.calendar.on(1, 10, 0), &[]).await?;

        let closes = self.calendar.closes(yesterday);
        let whole = closes.minutes_since(self.calendar.opens(yesterday)) > LONG_DAY_MIN;
        let day = if whole { WHOLE } else { MORNING };
        let before = |minutes: i64| closes.plus_minutes(-minutes);
        let flasks = self.bench.tree(&IN_THE_KILN, before(day.tree), 6, true).await?;
        self.bench.invest_all(&flasks, before(day.weigh), before(day.fill)).await?;
        self.bench.plan(before(day.plan)).await?;

        // The first of the edition goes into a kiln as soon as it has set.
        let filling = self
            .calendar
            .opens(today)
            .plus_minutes(30)
            .min(self.calendar.before(205))
            .max(before(day.plan - 20));
        self.bench.fire(filling).await?;
        let flasks = self.bench.tree(&[EDITION], filling.plus_minutes(-20), 2, true).await?;
        let [first, middle, last] = &flasks[..] else {
            return Err(DemoFault::Missing(format!("three flasks of order {EDITION}")));
        };
        self.bench.weigh(first, filling.plus_minutes(-5)).await?;
        self.bench.invest(first, filling).await?;
        self.bench.plan(filling.plus_minutes(20)).await?;
        self.bench.fire(self.bench.now).await?;
        // Its bench set is up just now: two hours after it was filled.
        self.bench.weigh(middle, self.calendar.before(145)).await?;
        self.bench.invest(middle, self.calendar.before(136)).await?;
        self.bench.weigh(last, self.calendar.before(40)).await?;
        self.wash_and_print().await
    }

    /// Today, or the last day with somebody there, and the one before.
    fn days(&self) -> (Day, Day) {
        let today = self.calendar.current();
        (today, self.calendar.day_before(today))
    }

    /// While somebody is there, knobs are in the wash and bands in the printer; before they left
    /// yesterday they had taken both out.
    async fn wash_and_print(&self) -> Result<(), DemoFault> {
        let knobs = self.bench.waiting(&[WASHED], "cure").await?;
        if self.calendar.at_work(45) {
            let bands = self.bench.waiting(&[PRINTED], "print").await?;
            let run = Run { pieces: bands, supports: "heavy", printer: Bench::LEFT };
            self.bench.start_plate(&run, self.calendar.before(35)).await?;
            self.bench.begin_cure(&knobs, "water", self.calendar.before(3)).await?;
        } else {
            self.bench.print(&[PRINTED], self.calendar.before(130)).await?;
            self.bench.cure(&knobs, "water", self.calendar.before(110), &[]).await?;
        }
        Ok(())
    }

    /// The client may have it finished or as cast, and the metal moves with the day.
    async fn quote_only(&self) -> Result<(), DemoFault> {
        let ordered = self.open(QUOTED).await?;
        self.at(self.calendar.on(ordered.came, 15, 40));
        let turned = [
            ("metal_rule", "day_of_yes"),
            ("asked_name", "finished and polished"),
            ("option0_name", "as cast, to finish yourself"),
            ("option0_finish", "as_cast"),
        ];
        self.price(QUOTED, book::Day::Offered, &turned).await?;
        Ok(())
    }

    /// Moves a piece that has to be made again to an order of its own.
    async fn split(&self) -> Result<(), DemoFault> {
        self.at(self.calendar.on(1, 16, 50));
        let (id, order): (String, i32) = sqlx::query_as(
            "SELECT p.id::text, o.number FROM pieces p JOIN orders o ON o.id = p.order_id WHERE p.label = $1",
        )
        .bind(FOLLOWS)
        .fetch_one(self.bench.pool)
        .await?;
        let page = format!("/orders/{order}/split");
        let later = self.calendar.today().plus_days(21).to_string();
        let fields = [("pieces", id.as_str()), ("to", "new"), ("due_on", later.as_str())];
        self.owner.fill(&page, &page, &fields).await?;
        Ok(())
    }

    /// A client brings metal, more is bought at another price, and the shelf is weighed.
    pub(super) async fn metal(&self) -> Result<(), DemoFault> {
        self.buy(20, book::BRONZE, "B-7731", "6000", "0.0235").await?;
        self.buy(15, book::SILVER, "S-0418", "500", "1.13").await?;
        self.brought(book::GOLD, "Odile and Rafe Marsh", "18.40", 6).await?;
        self.at(self.calendar.on(7, 17, 20));
        let mut form = self.owner.found("/metal/count", "/metal/count").await?;
        for (name, shown) in form.0.clone() {
            // Only what is much of: a scale says a little less each time.
            if let (Some(of), Ok(cg)) = (name.strip_prefix("seen_"), shown.parse::<i64>())
                && cg > 20_000
            {
                let cg = cg - self.bench.dice.between(3.0, 60.0) as i64;
                let grams = format!("{}.{:02}", cg / 100, cg % 100);
                form = form.with(&[(of, grams.as_str())]);
            }
        }
        let form = form.with(&[("count_note", "end of the month")]);
        self.owner.press("/metal/count", &form).await?;
        Ok(())
    }

    async fn buy(
        &self,
        back: i32,
        alloy: &str,
        lot: &str,
        grams: &str,
        price: &str,
    ) -> Result<(), DemoFault> {
        self.at(self.calendar.on(back, 10, 40));
        let alloy = self.alloy(alloy).await?;
        let fields = [
            ("alloy", alloy.as_str()),
            ("lot", lot),
            ("grams", grams),
            ("price", price),
            ("supplier", "Quayside metals (invented)"),
        ];
        self.owner.fill("/metal/buy", "/metal/buy", &fields).await?;
        Ok(())
    }

    async fn brought(
        &self,
        alloy: &str,
        client: &str,
        grams: &str,
        back: i32,
    ) -> Result<(), DemoFault> {
        self.at(self.calendar.on(back, 16, 20));
        let id = self.client_id(client).await?.unwrap_or_default();
        let alloy = self.alloy(alloy).await?;
        let page = format!("/metal/clients/{id}");
        let fields =
            [("alloy", alloy.as_str()), ("grams", grams), ("note", "a chain, marked and assayed")];
        self.owner.fill(&page, &format!("{page}/receive"), &fields).await?;
        Ok(())
    }

    /// Photos on the cards, some of them shown to the clients.
    pub(super) async fn photos(&self) -> Result<(), DemoFault> {
        for (label, stage, caption, piece, shared) in book::PHOTOS {
            self.at(self.photographed(stage));
            let page = format!("/pieces/{label}");
            let photos = format!("{page}/photos");
            let file = super::pictures::photo(piece, stage)?;
            let fields = [("stage", stage), ("caption", caption)];
            self.bench.maker.drop_into(&page, &photos, &fields, "photo", &[file]).await?;
            if shared {
                let id: String = sqlx::query_scalar(
                    "SELECT h.id::text FROM photos h JOIN pieces p ON p.id = h.piece_id WHERE p.label = $1
                     ORDER BY h.taken_at DESC, h.id DESC LIMIT 1",
                )
                .bind(label)
                .fetch_one(self.bench.pool)
                .await?;
                self.bench.maker.fill(&page, &format!("{photos}/{id}/share"), &[]).await?;
            }
        }
        Ok(())
    }

    /// When a piece of last week was at a stage.
    fn photographed(&self, stage: &str) -> Moment {
        match stage {
            "print" => self.calendar.on(6, 17, 10),
            "cast" => self.calendar.on(3, 11, 15),
            _ => self.calendar.on(2, 14, 5),
        }
    }
}
