//! Eight weeks of work: a plate on Tuesday, a cure and a kiln on Wednesday, and so on to the
//! hand-over; what failed is made again with the next week's.

use super::DemoFault;
use super::bench::{Bench, Waiting, number_of};
use super::book::FIRST;
use super::print::Run;
use super::story::Story;
use crate::clock::Moment;
use crate::id::AttemptId;

/// The weeks, the earliest first: so many ago, the last order that is made in it, and of what.
const WEEKS: [(i32, i32, &str); 7] = [
    (SUPPORTS_TRIED, 1003, "eight weeks ago: pendants, knobs, and rings on two kinds of supports"),
    (7, 1004, "keys"),
    (6, 1006, "cufflinks and bands"),
    (5, 1008, "knobs, and pendants in bronze"),
    (4, 1010, "coat hooks, and the keys again"),
    (3, 1012, "pendants again, and hinges"),
    (MEDIUM_TRIED, 1014, "two weeks ago: rings, and cufflinks again"),
];

/// The week in which supports are tried.
const SUPPORTS_TRIED: i32 = 8;
/// The week in which the medium of the cure is tried.
const MEDIUM_TRIED: i32 = 2;
/// In these weeks models are looked into before they are cast.
const LOOKED_INTO: i32 = 8;
/// Trees of earlier weeks were hung by hand.
const ARRANGED: i32 = 2;

impl Story<'_> {
    pub(super) async fn history(&self, say: &impl Fn(&str)) -> Result<(), DemoFault> {
        let mut next = FIRST;
        for (week, last, words) in WEEKS {
            say(words);
            while next <= last {
                self.order(next, "0").await?;
                next += 1;
            }
            let orders: Vec<i32> = (FIRST..=last).collect();
            let (_, ()) = tokio::try_join!(self.to_the_tree(week, &orders), async {
                if week >= LOOKED_INTO { self.look_closer().await } else { Ok(()) }
            })?;
            let kiln = self.calendar.on(5 * week + 1, 15, 30);
            let cast = self.cast(&orders, week, kiln).await?;
            let done = self.bench.finish(&orders, cast.plus_minutes(20), usize::MAX).await?;
            let morning = self.calendar.on(5 * week - 1, 9, 0);
            self.hand_over(&orders, self.calendar.next_open(done.plus_minutes(30)).max(morning))
                .await?;
        }
        Ok(())
    }

    /// Prints and cures what waits.
    async fn to_the_tree(&self, week: i32, orders: &[i32]) -> Result<Moment, DemoFault> {
        let printing = self.calendar.on(5 * week + 2, 8, 40);
        if week == SUPPORTS_TRIED {
            self.try_supports(printing).await?;
        }
        self.bench.print(orders, printing).await?;
        let curing = self.calendar.on(5 * week + 1, 9, 10);
        if week == MEDIUM_TRIED {
            self.try_medium(curing).await?;
        }
        let rest = self.bench.waiting(orders, "cure").await?;
        let medium = if week > 4 { "air" } else { "water" };
        self.bench.cure(&rest, medium, curing, &[]).await
    }

    /// From the tree to the cut-off castings.
    async fn cast(&self, orders: &[i32], week: i32, kiln: Moment) -> Result<Moment, DemoFault> {
        let day = 5 * week + 1;
        self.bench.break_some(orders, self.calendar.on(day, 10, 45)).await?;
        let flasks =
            self.bench.tree(orders, self.calendar.on(day, 11, 0), 8, week <= ARRANGED).await?;
        let (weighing, filling) = (self.calendar.on(day, 13, 20), self.calendar.on(day, 13, 45));
        self.bench.invest_all(&flasks, weighing, filling).await?;
        self.bench.plan(kiln).await?;
        self.bench.fire(self.calendar.on(5 * week - 1, 17, 0)).await
    }

    /// Twelve rings on light supports, twelve on heavy ones, by lot; heavy becomes the usual.
    async fn try_supports(&self, at: Moment) -> Result<(), DemoFault> {
        let trial = self
            .trial(
                at.plus_minutes(-30),
                [
                    ("question", "Do rings need heavy supports?"),
                    ("setting", "supports"),
                    ("first_arm", "light"),
                    ("second_arm", "heavy"),
                    ("stage", "print"),
                    ("first_yield", "45"),
                    ("second_yield", "99"),
                    ("power", "80"),
                ],
            )
            .await?;
        let rings = self.bench.waiting(&[1003], "print").await?;
        let [light, heavy] = self.draw(&trial, &rings).await?;
        let fails = failing(
            &light,
            &[
                "came off the supports",
                "came off the supports",
                "came off the supports",
                "came off the supports",
                "warped",
                "support scar too deep",
            ],
        );
        let on = |pieces, supports| Run { pieces, supports, printer: Bench::LEFT };
        let next = self.bench.run_plate(&on(light, "light"), at, &fails).await?;
        self.bench.run_plate(&on(heavy, "heavy"), next, &[]).await?;
        self.at(self.calendar.on(5 * SUPPORTS_TRIED + 1, 8, 20));
        self.owner.fill(&trial, &format!("{trial}/end"), &[]).await?;
        self.owner.fill(&trial, &format!("{trial}/usual"), &[]).await?;
        Ok(())
    }

    /// The first of the pieces that a longer trial needs: some cured in air, some under glycerin.
    async fn try_medium(&self, at: Moment) -> Result<(), DemoFault> {
        let trial = self
            .trial(
                at.plus_minutes(-30),
                [
                    ("question", "Is glycerin worth the rinsing?"),
                    ("setting", "medium"),
                    ("first_arm", "air"),
                    ("second_arm", "glycerin"),
                    ("stage", "cure"),
                    ("first_yield", "75"),
                    ("second_yield", "98"),
                    ("power", "80"),
                ],
            )
            .await?;
        let rings = self.bench.waiting(&[1013], "cure").await?;
        let [air, glycerin] = self.draw(&trial, &rings).await?;
        let fails = failing(&air, &["still tacky", "still tacky"]);
        self.bench.cure(&air, "air", at, &fails).await?;
        self.bench.cure(&glycerin, "glycerin", at.plus_minutes(5), &[]).await?;
        Ok(())
    }

    /// Settles a trial; returns its page.
    async fn trial(&self, at: Moment, fields: [(&str, &str); 8]) -> Result<String, DemoFault> {
        self.at(at);
        self.owner.fill("/trials/new", "/trials", &fields).await
    }

    /// Draws pieces for a trial; returns those of each arm.
    async fn draw(&self, trial: &str, pieces: &[Waiting]) -> Result<[Vec<Waiting>; 2], DemoFault> {
        let ids: Vec<String> = pieces.iter().map(|piece| piece.attempt.to_string()).collect();
        let fields: Vec<(&str, &str)> = ids.iter().map(|id| ("pieces", id.as_str())).collect();
        self.owner.fill(trial, &format!("{trial}/pieces"), &fields).await?;
        let first: Vec<AttemptId> = sqlx::query_scalar(
            "SELECT x.attempt_id FROM trial_pieces x JOIN trials t ON t.id = x.trial_id WHERE t.number = $1 AND x.arm = 1",
        )
        .bind(number_of(trial)?)
        .fetch_all(self.bench.pool)
        .await?;
        let (one, other) = pieces.iter().cloned().partition(|piece| first.contains(&piece.attempt));
        Ok([one, other])
    }
}

/// The first pieces of some, each with what happens to it.
fn failing(pieces: &[Waiting], causes: &[&'static str]) -> Vec<(AttemptId, &'static str)> {
    pieces.iter().map(|piece| piece.attempt).zip(causes.iter().copied()).collect()
}
