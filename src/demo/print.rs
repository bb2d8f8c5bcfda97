//! What the demo's hands do at the printers.

use std::collections::HashMap;

use super::DemoFault;
use super::bench::{Bench, Waiting, borrowed, marked, number_of};
use crate::clock::Moment;
use crate::id::AttemptId;

/// What goes on one plate.
pub(super) struct Run {
    pub(super) pieces: Vec<Waiting>,
    pub(super) supports: &'static str,
    pub(super) printer: &'static str,
}

/// So many pieces are put on one plate.
const PLATEFUL: usize = 6;
/// Pieces no wider than this fit on the smaller printer.
const NARROW_MM: f64 = 20.0;
/// Since the trial of supports, so many working days ago, heavy ones are the usual.
const HEAVY_SINCE: i32 = 41;
/// A new bottle was opened so many working days ago.
const NEW_BOTTLE: i32 = 20;

impl Bench<'_> {
    /// The larger printer.
    pub(super) const LEFT: &'static str = "Left bench";
    /// The smaller, older one.
    const OLD: &'static str = "Old faithful";

    /// Prints what waits of these orders, small pieces on both printers. A piece that fails waits
    /// again, as the next attempt: that is for another day.
    pub(super) async fn print(&self, orders: &[i32], at: Moment) -> Result<(), DemoFault> {
        let waiting = self.waiting(orders, "print").await?;
        let (narrow, wide): (Vec<_>, Vec<_>) =
            waiting.into_iter().partition(|piece| piece.narrow_mm <= NARROW_MM);
        let supports = if at > self.calendar.on(HEAVY_SINCE, 8, 0) { "heavy" } else { "medium" };
        let run = |pieces: &[Waiting], printer| Run { pieces: pieces.to_vec(), supports, printer };
        let mut runs: Vec<Run> =
            wide.chunks(PLATEFUL).map(|pieces| run(pieces, Self::LEFT)).collect();
        for pieces in narrow.chunks(PLATEFUL) {
            let old = runs.iter().filter(|run| run.printer == Self::OLD).count();
            let printer = if 2 * old <= runs.len() { Self::OLD } else { Self::LEFT };
            runs.push(run(pieces, printer));
        }
        let mut free = HashMap::new();
        for run in &runs {
            let starts = free.get(run.printer).copied().unwrap_or(at);
            free.insert(run.printer, self.run_plate(run, starts, &[]).await?);
        }
        Ok(())
    }

    /// Lays out and starts a plate; returns it with the minutes it is to take.
    pub(super) async fn start_plate(
        &self,
        run: &Run,
        at: Moment,
    ) -> Result<(String, f64), DemoFault> {
        self.at(at);
        let ids: Vec<String> = run.pieces.iter().map(|piece| piece.attempt.to_string()).collect();
        let mut plate = Err(DemoFault::Missing("a printer".to_owned()));
        // What does not fit on the small one goes on the large one.
        for printer in [run.printer, Self::LEFT] {
            let newer = at > self.calendar.on(NEW_BOTTLE, 8, 0);
            let lot = match (printer == Self::OLD, newer) {
                (true, _) => "A-01",
                (false, false) => "G-01",
                (false, true) => "G-02",
            };
            let printer =
                self.id_of("SELECT id::text FROM printers WHERE name = $1", printer).await?;
            let lot = self.id_of("SELECT id::text FROM resin_lots WHERE lot = $1", lot).await?;
            let mut fields: Vec<(&str, &str)> =
                ids.iter().map(|id| ("pieces", id.as_str())).collect();
            fields.extend([
                ("printer", printer.as_str()),
                ("lot", lot.as_str()),
                ("supports", run.supports),
            ]);
            plate = self.maker.fill("/plates/new", "/plates", &fields).await;
            if plate.is_ok() {
                break;
            }
        }
        let plate = plate?;
        self.at(at.plus_minutes(10));
        self.maker.fill(&plate, &format!("{plate}/start"), &[]).await?;
        let minutes: Option<f64> =
            sqlx::query_scalar("SELECT estimated_min FROM plates ORDER BY number DESC LIMIT 1")
                .fetch_one(self.pool)
                .await?;
        Ok((plate, minutes.unwrap_or(240.0)))
    }

    /// Prints a plate and takes it off; `fails` and what the book says fail. Returns when the
    /// printer is free again.
    pub(super) async fn run_plate(
        &self,
        run: &Run,
        at: Moment,
        fails: &[(AttemptId, &'static str)],
    ) -> Result<Moment, DemoFault> {
        let at = self.calendar.next_open(at);
        let (plate, minutes) = self.start_plate(run, at).await?;
        // Printers take a little longer than is reckoned, the old one more so.
        let longer = if run.printer == Self::OLD {
            self.dice.about(1.13, 0.05)
        } else {
            self.dice.about(1.05, 0.03)
        };
        let took = minutes * longer;
        let done = self.calendar.next_open(at.plus_minutes(12 + took as i64));
        self.at(done);
        let marked = marked(&run.pieces, "print", fails);
        self.maker.fill(&plate, &format!("{plate}/finish"), &borrowed(&marked)).await?;
        let hours = format!("{:.2}", took / 60.0);
        let off = format!("/steps/print/{}/off", number_of(&plate)?);
        self.maker.fill(&plate, &off, &[("hours", hours.as_str())]).await?;
        Ok(done.plus_minutes(15))
    }
}
