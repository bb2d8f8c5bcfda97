//! What the demo's hands do at the bench: print, cure, invest, fire, pour, finish.

use std::collections::HashMap;

use axum::http::StatusCode;
use foundry::heat::Binder;
use sqlx::PgPool;

use super::DemoFault;
use super::hands::{Dropped, Hands};
use super::logs::{Firing, written};
use crate::clock::{Clock, Moment};
use crate::id::{AlloyId, AttemptId, KilnId, PieceId};
use crate::kilns::{KilnFacts, Mould, SegmentRow};
use crate::studio::Settings;

/// The bench with its clock.
pub(super) struct Bench<'a> {
    pub(super) pool: &'a PgPool,
    pub(super) clock: &'a Clock,
    pub(super) maker: &'a Hands,
    pub(super) owner: &'a Hands,
    /// Nothing happens after this.
    pub(super) now: Moment,
}

/// So many pieces are put on one plate.
const PLATEFUL: usize = 6;

/// Which flasks of the kiln go how far.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Until {
    Burning,
    Held,
    Poured,
    Divested,
}

impl Bench<'_> {
    fn at(&self, moment: Moment) {
        self.clock.set(moment.min(self.now));
    }

    /// Pieces of these orders that wait for a stage: piece, attempt, label, alloy.
    async fn waiting(
        &self,
        orders: &[i32],
        stage: &str,
    ) -> Result<Vec<(PieceId, AttemptId, String, AlloyId)>, DemoFault> {
        Ok(sqlx::query_as(
            "SELECT p.id, t.id, p.label, l.alloy_id FROM pieces p JOIN orders o ON o.id = p.order_id
             JOIN order_lines l ON l.id = p.order_line_id
             JOIN attempts t ON t.piece_id = p.id AND t.ended_at IS NULL
             WHERE o.number = ANY($1) AND p.stage = $2 AND p.standing = 'waiting' ORDER BY o.number, p.n",
        )
        .bind(orders)
        .bind(stage)
        .fetch_all(self.pool)
        .await?)
    }

    /// Lays out and starts a plate with pieces of these orders that wait for print.
    pub(super) async fn start_plate(
        &self,
        orders: &[i32],
        at: Moment,
    ) -> Result<String, DemoFault> {
        self.at(at);
        let pieces = self.waiting(orders, "print").await?;
        let ids: Vec<String> =
            pieces.iter().take(PLATEFUL).map(|(_, attempt, ..)| attempt.to_string()).collect();
        let fields: Vec<(&str, &str)> = ids.iter().map(|id| ("pieces", id.as_str())).collect();
        let plate = self.maker.fill("/plates/new", "/plates", &fields).await?;
        self.at(at.plus_minutes(10));
        self.maker.fill(&plate, &format!("{plate}/start"), &[]).await?;
        Ok(plate)
    }

    /// Prints these orders, plate by plate; the named pieces fail for the cause.
    pub(super) async fn print(
        &self,
        orders: &[i32],
        at: Moment,
        failed: &[(&str, &str)],
    ) -> Result<Moment, DemoFault> {
        let mut at = at;
        let mut left = self.waiting(orders, "print").await?;
        while !left.is_empty() {
            let plate = self.start_plate(orders, at).await?;
            let minutes: Option<f64> =
                sqlx::query_scalar("SELECT estimated_min FROM plates ORDER BY number DESC LIMIT 1")
                    .fetch_one(self.pool)
                    .await?;
            at = at.plus_minutes(15 + minutes.unwrap_or(240.0) as i64);
            self.at(at);
            let marked: Vec<(String, &str)> = left
                .iter()
                .take(PLATEFUL)
                .filter_map(|(_, attempt, label, _)| {
                    let (_, cause) = failed.iter().find(|(name, _)| name == label)?;
                    Some((attempt.to_string(), *cause))
                })
                .collect();
            let names: Vec<String> = marked.iter().map(|(id, _)| format!("cause-{id}")).collect();
            let mut fields: Vec<(&str, &str)> = Vec::new();
            for ((id, cause), name) in marked.iter().zip(&names) {
                fields.push(("failed", id));
                fields.push((name, cause));
            }
            self.maker.fill(&plate, &format!("{plate}/finish"), &fields).await?;
            // Printers take a little longer than is reckoned.
            let hours = format!("{:.2}", minutes.unwrap_or(240.0) * 1.06 / 60.0);
            let off = format!("/steps/print/{}/off", number_of(&plate)?);
            self.maker.fill(&plate, &off, &[("hours", hours.as_str())]).await?;
            // A piece that failed waits again, as the next attempt: that is for another day.
            left.drain(..left.len().min(PLATEFUL));
        }
        Ok(at)
    }

    /// Begins washing what waits for cure.
    pub(super) async fn begin_cure(&self, orders: &[i32], at: Moment) -> Result<String, DemoFault> {
        self.at(at);
        let pieces = self.waiting(orders, "cure").await?;
        let ids: Vec<String> = pieces.iter().map(|(_, attempt, ..)| attempt.to_string()).collect();
        let fields: Vec<(&str, &str)> = ids.iter().map(|id| ("pieces", id.as_str())).collect();
        let batch = self.maker.fill("/cure/new", "/cure", &fields).await?;
        self.maker.fill(&batch, &format!("{batch}/begin"), &[]).await?;
        Ok(batch)
    }

    /// Washes and cures what waits.
    pub(super) async fn cure(&self, orders: &[i32], at: Moment) -> Result<Moment, DemoFault> {
        let batch = self.begin_cure(orders, at).await?;
        self.at(at.plus_minutes(9));
        self.maker.fill(&batch, &format!("{batch}/washed"), &[]).await?;
        let done = at.plus_minutes(75);
        self.at(done);
        let felt = format!("/steps/cure/{}/surface", number_of(&batch)?);
        self.maker.fill(&batch, &felt, &[("surface", "dry and hard")]).await?;
        self.maker.fill(&batch, &format!("{batch}/finish"), &[]).await?;
        Ok(done)
    }

    /// Puts everything of these orders that waits for investing on trees, one
    /// flask for each alloy, at most `most` pieces each. Returns the flasks.
    pub(super) async fn tree(
        &self,
        orders: &[i32],
        at: Moment,
        flask_type: &str,
        most: usize,
    ) -> Result<Vec<String>, DemoFault> {
        self.at(at);
        let pieces = self.waiting(orders, "invest").await?;
        let kind: String = sqlx::query_scalar("SELECT id::text FROM flask_types WHERE name = $1")
            .bind(flask_type)
            .fetch_one(self.pool)
            .await?;
        let family: String =
            sqlx::query_scalar("SELECT id::text FROM burnout_families WHERE name = 'Resin'")
                .fetch_one(self.pool)
                .await?;
        let mut by_alloy: HashMap<AlloyId, Vec<String>> = HashMap::new();
        let mut order = Vec::new();
        for (piece, _, _, alloy) in pieces {
            if !by_alloy.contains_key(&alloy) {
                order.push(alloy);
            }
            by_alloy.entry(alloy).or_default().push(piece.to_string());
        }
        let mut flasks = Vec::new();
        for alloy in order {
            for some in by_alloy[&alloy].chunks(most) {
                let mut fields: Vec<(&str, &str)> =
                    some.iter().map(|id| ("piece", id.as_str())).collect();
                fields.push(("flask_type", &kind));
                fields.push(("family", &family));
                let page = format!("/flasks/new?alloy={alloy}");
                let flask = self.maker.fill(&page, "/flasks", &fields).await?;
                match self.maker.fill(&flask, &format!("{flask}/arrange"), &[]).await {
                    // What does not go in as the program would hang it is hung by hand.
                    Ok(_) | Err(DemoFault::Refused { status: StatusCode::CONFLICT, .. }) => {}
                    Err(fault) => return Err(fault),
                }
                flasks.push(flask);
            }
        }
        Ok(flasks)
    }

    /// Weighs a tree: its pieces in resin, a wax sprue and the rubber base.
    pub(super) async fn weigh(&self, flask: &str, at: Moment) -> Result<(), DemoFault> {
        self.at(at);
        let number = number_of(flask)?;
        let pieces_g: Option<f64> = sqlx::query_scalar(
            "SELECT sum(v.volume_mm3) / 1000 * 1.16 FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id
             JOIN attempts t ON t.id = fp.attempt_id JOIN pieces p ON p.id = t.piece_id
             JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
             WHERE f.number = $1 AND fp.left_at IS NULL",
        )
        .bind(number)
        .fetch_one(self.pool)
        .await?;
        let tree = format!("{:.2}", 48.3 + pieces_g.unwrap_or(0.0) + 4.1);
        let fields = [("base_mass_g", "48.30"), ("tree_mass_g", tree.as_str())];
        self.maker.fill(flask, &format!("{flask}/weigh"), &fields).await?;
        Ok(())
    }

    /// Mixes, fills and leaves to set.
    pub(super) async fn invest(&self, flask: &str, at: Moment) -> Result<(), DemoFault> {
        self.at(at);
        self.maker.fill(flask, &format!("{flask}/mix"), &[]).await?;
        self.at(at.plus_minutes(10));
        self.maker.fill(flask, &format!("{flask}/set"), &[]).await?;
        Ok(())
    }

    /// Makes a plan at a moment and accepts it.
    pub(super) async fn plan(&self, at: Moment) -> Result<(), DemoFault> {
        self.at(at);
        self.owner.fill("/plan", "/plan/propose", &[]).await?;
        let number = self.proposed().await?;
        self.owner.fill("/plan", "/plan/accept", &[("number", &number.to_string())]).await?;
        Ok(())
    }

    /// Waits for the planner.
    pub(super) async fn proposed(&self) -> Result<i32, DemoFault> {
        for _ in 0..600 {
            let (number, state, error): (i32, String, Option<String>) = sqlx::query_as(
                "SELECT number, state, error FROM plans ORDER BY number DESC LIMIT 1",
            )
            .fetch_one(self.pool)
            .await?;
            match state.as_str() {
                "proposed" => return Ok(number),
                "computing" => tokio::time::sleep(std::time::Duration::from_millis(50)).await,
                _ => return Err(DemoFault::Broken(error.unwrap_or(state))),
            }
        }
        Err(DemoFault::Missing("an answer of the planner".to_owned()))
    }

    /// Runs the planned loads in their order, each as far as told; loads that
    /// would go on beyond now stop at now.
    pub(super) async fn fire(&self, until: Until) -> Result<Moment, DemoFault> {
        let loads: Vec<(i32, Moment, Moment)> = sqlx::query_as(
            "SELECT number, planned_start_at, planned_held_at FROM kiln_loads WHERE state = 'planned' ORDER BY planned_start_at",
        )
        .fetch_all(self.pool)
        .await?;
        let mut steps: Vec<(Moment, Step)> = Vec::new();
        for (load, starts, held) in loads {
            steps.push((starts.plus_minutes(15), Step::Start(load)));
            steps.push((held, Step::Hold(load)));
            let pours: Vec<(i32, Moment)> = sqlx::query_as(
                "SELECT f.number, lf.planned_pour_at FROM kiln_load_flasks lf JOIN flasks f ON f.id = lf.flask_id
                 JOIN kiln_loads l ON l.id = lf.kiln_load_id WHERE l.number = $1 AND lf.left_at IS NULL ORDER BY 2",
            )
            .bind(load)
            .fetch_all(self.pool)
            .await?;
            for (flask, at) in pours {
                steps.push((at.max(held.plus_minutes(1)), Step::Pour(flask)));
                steps.push((at.plus_minutes(75), Step::Divest(flask)));
            }
        }
        steps.sort();
        let mut last = self.clock.now();
        for (at, step) in steps {
            let needed = match step {
                Step::Start(_) => Until::Burning,
                Step::Hold(_) => Until::Held,
                Step::Pour(_) => Until::Poured,
                Step::Divest(_) => Until::Divested,
            };
            if at > self.now || needed > until {
                continue;
            }
            self.at(at);
            last = at;
            match step {
                Step::Start(load) => {
                    let page = format!("/loads/{load}");
                    self.maker
                        .fill(&page, &format!("{page}/start"), &[("read_back", "yes")])
                        .await?;
                }
                Step::Hold(load) => {
                    let page = format!("/loads/{load}");
                    self.maker.fill(&page, &format!("{page}/hold"), &[]).await?;
                }
                Step::Pour(flask) => {
                    self.maker.fill("/pours", &format!("/pours/{flask}"), &[]).await?;
                }
                Step::Divest(flask) => self.divest(flask).await?,
            }
        }
        self.take_logs().await?;
        Ok(last)
    }

    /// Sends in what the controllers wrote of firings that are over and have no log yet.
    async fn take_logs(&self) -> Result<(), DemoFault> {
        let loads: Vec<(i32, KilnId, sqlx::types::Json<Vec<SegmentRow>>, Moment)> = sqlx::query_as(
            "SELECT l.number, l.kiln_id, l.programme, l.started_at FROM kiln_loads l WHERE l.held_at IS NOT NULL
               AND NOT EXISTS (SELECT 1 FROM kiln_logs g WHERE g.kiln_load_id = l.id) ORDER BY l.number",
        )
        .fetch_all(self.pool)
        .await?;
        let zone = Settings::load(self.pool).await?.zone();
        for (number, kiln, programme, started) in loads {
            let before: i64 =
                sqlx::query_scalar("SELECT count(*) FROM kiln_logs").fetch_one(self.pool).await?;
            let firing = match before {
                0 => Firing::Weak,
                1 => Firing::Opened,
                _ => Firing::Plain,
            };
            let facts = KilnFacts::read(self.pool, kiln).await?;
            // The middle flask, in which the demo casts.
            let mould = Mould {
                inside_mm: 85.8,
                height_mm: 120.0,
                wall_mm: 1.6,
                binder: Binder::Gypsum,
                water_per_100: 40.0,
            };
            let log = written(&facts, &mould, &programme.0, started, &zone, firing)?;
            let page = format!("/loads/{number}/log");
            let file = Dropped { name: format!("load-{number}.csv"), bytes: log.into_bytes() };
            self.maker.drop_into(&page, &page, &[], "log", &[file]).await?;
        }
        Ok(())
    }

    async fn divest(&self, flask: i32) -> Result<(), DemoFault> {
        let charged: i64 = sqlx::query_scalar(
            "SELECT p.fresh_cg + p.returns_cg + p.own_cg FROM pours p JOIN flasks f ON f.id = p.flask_id WHERE f.number = $1",
        )
        .bind(flask)
        .fetch_one(self.pool)
        .await?;
        let pieces_cg: Option<f64> = sqlx::query_scalar(
            "SELECT sum(v.volume_mm3 * a.density_g_cm3) / 10 FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id
             JOIN alloys a ON a.id = f.alloy_id JOIN attempts t ON t.id = fp.attempt_id JOIN pieces p ON p.id = t.piece_id
             JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
             WHERE f.number = $1 AND fp.left_at IS NULL",
        )
        .bind(flask)
        .fetch_one(self.pool)
        .await?;
        let pieces = (pieces_cg.unwrap_or(0.0) as i64).min(charged * 9 / 10);
        let lost = charged * 12 / 1000;
        let grams = |cg: i64| format!("{}.{:02}", cg / 100, cg % 100);
        let (pieces_g, returns_g) = (grams(pieces), grams(charged - pieces - lost));
        let page = format!("/flasks/{flask}");
        let fields = [("pieces_g", pieces_g.as_str()), ("returns_g", returns_g.as_str())];
        self.maker.fill(&page, &format!("{page}/divest"), &fields).await?;
        Ok(())
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Step {
    Start(i32),
    Hold(i32),
    Pour(i32),
    Divest(i32),
}

/// The number at the end of an address such as `/flasks/214`.
pub(super) fn number_of(path: &str) -> Result<i32, DemoFault> {
    path.rsplit('/')
        .next()
        .and_then(|number| number.parse().ok())
        .ok_or_else(|| DemoFault::Missing(format!("a number at the end of {path}")))
}

impl Bench<'_> {
    /// Finishes pieces of these orders one after the other; stops after so many,
    /// and leaves the next one in hand.
    pub(super) async fn finish(
        &self,
        orders: &[i32],
        at: Moment,
        most: usize,
    ) -> Result<(), DemoFault> {
        let pieces = self.waiting(orders, "finish").await?;
        let mut at = at;
        for (n, (_, _, label, _)) in pieces.iter().enumerate() {
            self.at(at);
            let cg: f64 = sqlx::query_scalar(
                "SELECT v.volume_mm3 / 1000 * a.density_g_cm3 * 100 FROM pieces p JOIN order_lines l ON l.id = p.order_line_id
                 JOIN design_versions v ON v.id = l.design_version_id JOIN alloys a ON a.id = l.alloy_id WHERE p.label = $1",
            )
            .bind(label)
            .fetch_one(self.pool)
            .await?;
            let raw = format!("{:.2}", cg * 0.97 / 100.0);
            let page = format!("/finishing/{label}");
            self.maker.fill(&page, &format!("{page}/begin"), &[("raw", raw.as_str())]).await?;
            if n >= most {
                break;
            }
            at = at.plus_minutes(35);
            self.at(at);
            for (task, minutes) in [("cut_off", "4"), ("ground", "14"), ("polished", "12")] {
                let task = format!("/steps/finish/{label}/{task}");
                self.maker.fill(&page, &task, &[("minutes", minutes)]).await?;
            }
            let finished = format!("{:.2}", cg * 0.94 / 100.0);
            let fields =
                [("raw", raw.as_str()), ("finished", finished.as_str()), ("minutes", "30")];
            self.maker.fill(&page, &format!("{page}/pass"), &fields).await?;
        }
        Ok(())
    }
}
