//! What the demo's hands do from the plan to the cut-off castings.

use foundry::heat::Binder;
use sqlx::types::Json;

use super::bench::Bench;
use super::hands::Dropped;
use super::logs::{Firing, written};
use super::{DemoFault, book};
use crate::clock::Moment;
use crate::id::{KilnId, PieceId};
use crate::kilns::{KilnFacts, Mould, SegmentRow};
use crate::studio::Settings;

/// A step with a load or with a flask of it, by its number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Step {
    Start(i32),
    Hold(i32),
    Pour(i32),
    Divest(i32),
}

/// From the pour until a flask is cool enough to be broken up.
const COOLS_MIN: i64 = 40;
/// The controller of every so-manieth firing is read out.
const READ_OUT: i32 = 3;
/// The flask of a melt that nobody covered in time.
const BURNT: i32 = 204;

impl Bench<'_> {
    /// Makes a plan at a moment and accepts it.
    pub(super) async fn plan(&self, at: Moment) -> Result<(), DemoFault> {
        self.at(at);
        // A few flasks are soon planned.
        self.owner.fill("/plan", "/plan/propose", &[("seconds", "1")]).await?;
        let number = self.proposed().await?;
        self.owner.fill("/plan", "/plan/accept", &[("number", &number.to_string())]).await?;
        Ok(())
    }

    /// Waits for the planner.
    async fn proposed(&self) -> Result<i32, DemoFault> {
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

    /// Carries out what is planned, up to a moment; what is to come then is left as it stands.
    /// Returns when the last of it was done.
    pub(super) async fn fire(&self, until: Moment) -> Result<Moment, DemoFault> {
        let mut steps = self.steps().await?;
        steps.sort();
        let mut last = self.clock.now();
        for (at, step) in steps.into_iter().filter(|(at, _)| *at <= until.min(self.now)) {
            self.at(at);
            last = at;
            match step {
                Step::Start(load) => {
                    let page = format!("/loads/{load}");
                    let read = [("read_back", "yes")];
                    self.maker.fill(&page, &format!("{page}/start"), &read).await?;
                }
                Step::Hold(load) => self.hold(load).await?,
                Step::Pour(flask) => self.pour(flask).await?,
                Step::Divest(flask) => self.divest(flask).await?,
            }
        }
        self.take_logs().await?;
        Ok(last)
    }

    /// What is still to be done with loads that are planned or under way.
    async fn steps(&self) -> Result<Vec<(Moment, Step)>, DemoFault> {
        let loads: Vec<(i32, String, Moment, Moment)> = sqlx::query_as(
            "SELECT number, state, planned_start_at, planned_held_at FROM kiln_loads
             WHERE state IN ('planned', 'burning', 'held') ORDER BY planned_start_at",
        )
        .fetch_all(self.pool)
        .await?;
        let mut steps = Vec::new();
        for (load, state, starts, held) in loads {
            // What was held at night is seen in the morning.
            let seen = self.calendar.next_open(held.plus_minutes(2));
            if state == "planned" {
                steps.push((starts.plus_minutes(15), Step::Start(load)));
            }
            if state != "held" {
                steps.push((seen, Step::Hold(load)));
            }
            let pours: Vec<(i32, Moment, bool)> = sqlx::query_as(
                "SELECT f.number, lf.planned_pour_at, f.state = 'poured' FROM kiln_load_flasks lf JOIN flasks f ON f.id = lf.flask_id
                 JOIN kiln_loads l ON l.id = lf.kiln_load_id WHERE l.number = $1 AND lf.left_at IS NULL ORDER BY 2, 1",
            )
            .bind(load)
            .fetch_all(self.pool)
            .await?;
            for (nth, (flask, at, is_poured)) in (1..).zip(pours) {
                let poured = at.max(seen.plus_minutes(4 * nth));
                if !is_poured {
                    steps.push((poured, Step::Pour(flask)));
                }
                let cool = self.calendar.next_open(poured.plus_minutes(COOLS_MIN));
                steps.push((cool, Step::Divest(flask)));
            }
        }
        Ok(steps)
    }

    /// The programme is through; a mould that cracked on the way is seen then.
    async fn hold(&self, load: i32) -> Result<(), DemoFault> {
        let pieces: Vec<(String, i32)> = sqlx::query_as(
            "SELECT p.label, t.n FROM kiln_loads l JOIN kiln_load_flasks lf ON lf.kiln_load_id = l.id AND lf.left_at IS NULL
             JOIN flask_pieces fp ON fp.flask_id = lf.flask_id AND fp.left_at IS NULL
             JOIN attempts t ON t.id = fp.attempt_id JOIN pieces p ON p.id = t.piece_id WHERE l.number = $1 ORDER BY 1",
        )
        .bind(load)
        .fetch_all(self.pool)
        .await?;
        for (label, nth) in pieces {
            if let Some(cause) = book::cause(&label, nth, "burnout") {
                self.fail(&label, cause).await?;
            }
        }
        let page = format!("/loads/{load}");
        self.maker.fill(&page, &format!("{page}/hold"), &[]).await?;
        Ok(())
    }

    /// Pours a flask, about as hot as it should be.
    async fn pour(&self, flask: i32) -> Result<(), DemoFault> {
        let action = format!("/pours/{flask}");
        let who = self.somebody();
        let form = who.found("/pours", &action).await?;
        let near = |name: &str, reach: f64| {
            let told = form.value(name).and_then(|told| told.parse::<f64>().ok());
            told.map(|told| format!("{:.0}", self.dice.about(told, reach)))
        };
        let (melt, hot) = (near("melt_c", 12.0), near("flask_c", 15.0));
        let pieces: Vec<(PieceId, String, i32, String)> = sqlx::query_as(
            "SELECT p.id, p.label, t.n, d.name FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id
             JOIN attempts t ON t.id = fp.attempt_id JOIN pieces p ON p.id = t.piece_id
             JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
             JOIN designs d ON d.id = v.design_id
             WHERE f.number = $1 AND fp.left_at IS NULL ORDER BY 2",
        )
        .bind(flask)
        .fetch_all(self.pool)
        .await?;
        let failed: Vec<(String, &str)> = pieces
            .iter()
            .filter_map(|(id, label, nth, _)| {
                Some((id.to_string(), book::cause(label, *nth, "cast")?))
            })
            .collect();
        let mut fields: Vec<(&str, &str)> =
            failed.iter().map(|(id, _)| ("failed", id.as_str())).collect();
        if let Some((_, cause)) = failed.first() {
            fields.extend([("cause", *cause), ("result", "short")]);
        }
        if pieces.iter().any(|(.., design)| book::by_weight_alone(design)) {
            fields.push(("method", "gravity"));
        }
        if let (Some(melt), Some(hot)) = (&melt, &hot) {
            fields.extend([("melt_c", melt.as_str()), ("flask_c", hot.as_str())]);
        }
        who.press(&action, &form.with(&fields)).await?;
        Ok(())
    }

    /// Cuts a flask's castings off and weighs them; what is missing burnt away, spattered or
    /// stayed in the crucible. Zinc goes off as smoke, so brass loses most.
    async fn divest(&self, flask: i32) -> Result<(), DemoFault> {
        let (charged, alloy): (i64, String) = sqlx::query_as(
            "SELECT p.fresh_cg + p.returns_cg + p.own_cg, a.name FROM pours p JOIN flasks f ON f.id = p.flask_id
             JOIN alloys a ON a.id = f.alloy_id WHERE f.number = $1",
        )
        .bind(flask)
        .fetch_one(self.pool)
        .await?;
        let models_cg: Option<f64> = sqlx::query_scalar(
            "SELECT sum(v.volume_mm3 * a.density_g_cm3) / 10 FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id
             JOIN alloys a ON a.id = f.alloy_id JOIN attempts t ON t.id = fp.attempt_id JOIN pieces p ON p.id = t.piece_id
             JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
             WHERE f.number = $1 AND fp.left_at IS NULL",
        )
        .bind(flask)
        .fetch_one(self.pool)
        .await?;
        let percent = match alloy.as_str() {
            _ if flask == BURNT => 4.9,
            book::BRASS => self.dice.about(2.3, 0.7),
            book::BRONZE => self.dice.about(1.4, 0.5),
            book::SILVER => self.dice.about(0.9, 0.4),
            _ => self.dice.about(0.6, 0.2),
        };
        let pieces = models_cg.unwrap_or(0.0) * self.dice.between(1.0, 1.02);
        let pieces = (pieces as i64).min(charged * 9 / 10).max(1);
        let lost = (charged as f64 * percent / 100.0).round() as i64;
        let grams = |cg: i64| format!("{}.{:02}", cg / 100, cg % 100);
        let (pieces_g, returns_g) = (grams(pieces), grams((charged - pieces - lost).max(0)));
        let page = format!("/flasks/{flask}");
        let quenched = if self.dice.one_in(4.0) { "cold water" } else { "warm water" };
        let step = format!("/steps/cast/{flask}/quenched");
        self.maker.fill(&page, &step, &[("in", quenched)]).await?;
        let fields = [("pieces_g", pieces_g.as_str()), ("returns_g", returns_g.as_str())];
        self.maker.fill(&page, &format!("{page}/divest"), &fields).await?;
        Ok(())
    }

    /// Sends in what the controllers wrote of firings that are over and have no log yet.
    async fn take_logs(&self) -> Result<(), DemoFault> {
        let loads: Vec<(i32, KilnId, Json<Vec<SegmentRow>>, Moment)> = sqlx::query_as(
            "SELECT l.number, l.kiln_id, l.programme, l.started_at FROM kiln_loads l WHERE l.held_at IS NOT NULL
               AND l.number % $1 = 0
               AND NOT EXISTS (SELECT 1 FROM kiln_logs g WHERE g.kiln_load_id = l.id) ORDER BY l.number",
        )
        .bind(READ_OUT)
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
}
