//! What the demo's hands do at the finishing bench, and what they find there.

use sqlx::FromRow;

use super::bench::Bench;
use super::hands::Hands;
use super::markup::action_ending;
use super::{DemoFault, book};
use crate::clock::Moment;

/// A casting at the bench.
#[derive(FromRow)]
struct Casting {
    /// What its model weighs in its alloy.
    model_g: f64,
    /// Minutes that are allowed for it.
    allowed: i32,
    /// Its model's width, and the shares by which resin and alloy come out smaller.
    width_mm: f64,
    resin: f64,
    shrinkage: f64,
}

/// Every so-manieth piece is told task by task.
const TOLD_BY_TASK: usize = 5;
/// Every so-manieth is measured.
const MEASURED: usize = 3;

impl Bench<'_> {
    async fn casting(&self, label: &str) -> Result<Casting, DemoFault> {
        Ok(sqlx::query_as(
            "SELECT v.volume_mm3 / 1000 * a.density_g_cm3 AS model_g, l.finishing_minutes AS allowed, v.box_x_mm AS width_mm,
                    a.shrinkage, coalesce((SELECT r.shrinkage FROM plate_pieces pp JOIN plates b ON b.id = pp.plate_id
                        JOIN resin_lots o ON o.id = b.resin_lot_id JOIN resins r ON r.id = o.resin_id
                        WHERE pp.attempt_id = t.id ORDER BY b.number DESC LIMIT 1), 0) AS resin
             FROM pieces p JOIN attempts t ON t.piece_id = p.id AND t.ended_at IS NULL
             JOIN order_lines l ON l.id = p.order_line_id
             JOIN design_versions v ON v.id = l.design_version_id JOIN alloys a ON a.id = l.alloy_id WHERE p.label = $1",
        )
        .bind(label)
        .fetch_one(self.pool)
        .await?)
    }

    /// Finishes pieces of these orders one after the other; stops after so many, and leaves the
    /// next one waiting. Returns when the last was done.
    pub(super) async fn finish(
        &self,
        orders: &[i32],
        at: Moment,
        most: usize,
    ) -> Result<Moment, DemoFault> {
        let mut at = at;
        let waiting = self.waiting(orders, "finish").await?;
        for (nth, piece) in waiting.iter().take(most).enumerate() {
            let casting = self.casting(&piece.label).await?;
            let minutes =
                (f64::from(casting.allowed) * self.dice.about(1.08, 0.3)).round().max(4.0);
            at = self.calendar.room_for(at, minutes as i64);
            let who = self.somebody();
            let raw = self.begin(who, &piece.label, &casting, at).await?;
            self.look_over(who, &piece.label, at.plus_minutes(6)).await?;
            at = at.plus_minutes(minutes as i64);
            self.at(at);
            let page = format!("/finishing/{}", piece.label);
            if let Some(cause) = book::cause(&piece.label, piece.nth, "finish") {
                who.fill(&page, &format!("{page}/defect"), &[("cause", cause)]).await?;
                continue;
            }
            if nth % TOLD_BY_TASK == 0 {
                self.tasks(who, &piece.label, minutes).await?;
            }
            if nth % MEASURED == 0 {
                self.measure(who, &piece.label, &casting).await?;
            }
            let finished = format!("{:.2}", raw * self.dice.between(0.93, 0.965));
            let minutes = format!("{minutes:.0}");
            let raw = format!("{raw:.2}");
            let fields = [
                ("raw", raw.as_str()),
                ("finished", finished.as_str()),
                ("minutes", minutes.as_str()),
            ];
            who.fill(&page, &format!("{page}/pass"), &fields).await?;
            at = at.plus_minutes(4);
        }
        Ok(at)
    }

    /// Takes the next piece of these orders in hand.
    pub(super) async fn take_in_hand(&self, orders: &[i32], at: Moment) -> Result<(), DemoFault> {
        if let Some(piece) = self.waiting(orders, "finish").await?.first() {
            let casting = self.casting(&piece.label).await?;
            self.begin(self.maker, &piece.label, &casting, at).await?;
            self.look_over(self.maker, &piece.label, at.plus_minutes(9)).await?;
        }
        Ok(())
    }

    /// Weighs a piece that was cut off; returns its grams.
    async fn begin(
        &self,
        who: &Hands,
        label: &str,
        casting: &Casting,
        at: Moment,
    ) -> Result<f64, DemoFault> {
        self.at(at);
        let raw_g = casting.model_g * self.dice.between(0.965, 0.995);
        let raw = format!("{raw_g:.2}");
        let page = format!("/finishing/{label}");
        who.fill(&page, &format!("{page}/begin"), &[("raw", raw.as_str())]).await?;
        Ok(raw_g)
    }

    /// What was worked on it, task by task.
    async fn tasks(&self, who: &Hands, label: &str, minutes: f64) -> Result<(), DemoFault> {
        let (cut, ground) = ((minutes * 0.15).round(), (minutes * 0.45).round());
        let polished = minutes - cut - ground;
        let page = format!("/finishing/{label}");
        for (task, minutes) in [("cut_off", cut), ("ground", ground), ("polished", polished)] {
            let minutes = format!("{minutes:.0}");
            let task = format!("/steps/finish/{label}/{task}");
            who.fill(&page, &task, &[("minutes", minutes.as_str())]).await?;
        }
        Ok(())
    }

    /// How wide it came out.
    async fn measure(&self, who: &Hands, label: &str, of: &Casting) -> Result<(), DemoFault> {
        let contracted = of.shrinkage.max(0.012) * self.dice.about(0.93, 0.18);
        let mm = format!("{:.2}", of.width_mm * (1.0 - of.resin) * (1.0 - contracted));
        let page = format!("/finishing/{label}");
        let step = format!("/steps/finish/{label}/measured");
        who.fill(&page, &step, &[("mm", mm.as_str()), ("side", "width")]).await?;
        Ok(())
    }

    /// Points at what the book says was found on a piece, and mends it.
    async fn look_over(&self, who: &Hands, label: &str, at: Moment) -> Result<(), DemoFault> {
        let page = format!("/pieces/{label}/findings");
        for seen in book::FINDINGS.iter().filter(|seen| seen.label == label) {
            self.at(at);
            let [x, y] = ["x", "y"].map(|axis| format!("{}.{axis}", seen.look));
            let fields = [
                ("known", seen.what),
                ("then", "mend"),
                (x.as_str(), seen.at[0]),
                (y.as_str(), seen.at[1]),
            ];
            who.fill(&page, &page, &fields).await?;
            if seen.mended {
                self.at(at.plus_minutes(5));
                let action = action_ending(&who.open(&page).await?, "/mended")
                    .ok_or_else(|| DemoFault::Missing(format!("a finding on {label}")))?;
                who.fill(&page, &action, &[]).await?;
            }
        }
        Ok(())
    }
}
