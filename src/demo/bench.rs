//! What the demo's hands do at the bench before the kiln: cure, build trees, invest.

use std::collections::HashMap;

use axum::http::StatusCode;
use sqlx::{FromRow, PgPool};

use super::calendar::Calendar;
use super::dice::Dice;
use super::hands::Hands;
use super::{DemoFault, book};
use crate::clock::{Clock, Moment};
use crate::id::{AlloyId, AttemptId, PieceId};

/// The bench with its clock.
pub(super) struct Bench<'a> {
    pub(super) pool: &'a PgPool,
    pub(super) clock: &'a Clock,
    pub(super) maker: &'a Hands,
    pub(super) owner: &'a Hands,
    pub(super) calendar: &'a Calendar,
    pub(super) dice: &'a Dice,
    /// Nothing happens after this.
    pub(super) now: Moment,
}

/// A piece that waits for a stage.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Waiting {
    pub(super) piece: PieceId,
    pub(super) attempt: AttemptId,
    /// Which attempt.
    pub(super) nth: i32,
    pub(super) label: String,
    pub(super) alloy: AlloyId,
    /// The shorter side of its footprint.
    pub(super) narrow_mm: f64,
}

impl Waiting {
    /// Why it fails at a stage, if it does.
    fn cause(&self, stage: &str) -> Option<&'static str> {
        book::cause(&self.label, self.nth, stage)
    }
}

impl Bench<'_> {
    pub(super) fn at(&self, moment: Moment) {
        self.clock.set(moment.min(self.now));
    }

    /// One of the two; mostly the maker.
    pub(super) fn somebody(&self) -> &Hands {
        if self.dice.one_in(3.0) { self.owner } else { self.maker }
    }

    /// Pieces of these orders that wait for a stage.
    pub(super) async fn waiting(
        &self,
        orders: &[i32],
        stage: &str,
    ) -> Result<Vec<Waiting>, DemoFault> {
        Ok(sqlx::query_as(
            "SELECT p.id AS piece, t.id AS attempt, t.n AS nth, p.label, l.alloy_id AS alloy,
                    least(v.box_x_mm, v.box_y_mm) AS narrow_mm
             FROM pieces p JOIN orders o ON o.id = p.order_id
             JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
             JOIN attempts t ON t.piece_id = p.id AND t.ended_at IS NULL
             WHERE o.number = ANY($1) AND p.stage = $2 AND p.standing = 'waiting' ORDER BY o.number, p.n",
        )
        .bind(orders)
        .bind(stage)
        .fetch_all(self.pool)
        .await?)
    }

    /// The id of something by its name, as a form sends it.
    pub(super) async fn id_of(&self, sql: &'static str, name: &str) -> Result<String, DemoFault> {
        Ok(sqlx::query_scalar(sql).bind(name).fetch_one(self.pool).await?)
    }

    /// Begins washing some pieces.
    pub(super) async fn begin_cure(
        &self,
        pieces: &[Waiting],
        medium: &str,
        at: Moment,
    ) -> Result<String, DemoFault> {
        self.at(at);
        let ids: Vec<String> = pieces.iter().map(|piece| piece.attempt.to_string()).collect();
        let mut fields: Vec<(&str, &str)> = ids.iter().map(|id| ("pieces", id.as_str())).collect();
        fields.push(("medium", medium));
        let batch = self.maker.fill("/cure/new", "/cure", &fields).await?;
        self.maker.fill(&batch, &format!("{batch}/begin"), &[]).await?;
        Ok(batch)
    }

    /// Washes and cures some pieces; `fails` and what the book says fail.
    pub(super) async fn cure(
        &self,
        pieces: &[Waiting],
        medium: &str,
        at: Moment,
        fails: &[(AttemptId, &'static str)],
    ) -> Result<Moment, DemoFault> {
        if pieces.is_empty() {
            return Ok(at);
        }
        let batch = self.begin_cure(pieces, medium, at).await?;
        self.at(at.plus_minutes(self.dice.between(8.0, 12.0) as i64));
        self.maker.fill(&batch, &format!("{batch}/washed"), &[]).await?;
        let done = at.plus_minutes(self.dice.between(70.0, 84.0) as i64);
        self.at(done);
        let number = number_of(&batch)?;
        let dried = if self.dice.one_in(3.0) { "warm air" } else { "compressed air" };
        self.maker.fill(&batch, &format!("/steps/cure/{number}/dried"), &[("by", dried)]).await?;
        let marked = marked(pieces, "cure", fails);
        let felt = if marked.is_empty() { "dry and hard" } else { "slightly tacky" };
        let surface = format!("/steps/cure/{number}/surface");
        self.maker.fill(&batch, &surface, &[("surface", felt)]).await?;
        self.maker.fill(&batch, &format!("{batch}/finish"), &borrowed(&marked)).await?;
        Ok(done)
    }

    /// Pieces that break on their way to the tree.
    pub(super) async fn break_some(&self, orders: &[i32], at: Moment) -> Result<(), DemoFault> {
        self.at(at);
        for piece in self.waiting(orders, "invest").await? {
            if let Some(cause) = piece.cause("invest") {
                self.fail(&piece.label, cause).await?;
            }
        }
        Ok(())
    }

    /// Records on its card that a piece failed where it is.
    pub(super) async fn fail(&self, label: &str, cause: &str) -> Result<(), DemoFault> {
        let page = format!("/pieces/{label}");
        self.maker.fill(&page, &format!("{page}/failed"), &[("cause", cause)]).await?;
        Ok(())
    }

    /// Puts everything of these orders that waits for investing on trees, one flask for each
    /// alloy, at most `most` pieces each, arranged by the program or hung by hand. Returns the
    /// flasks.
    pub(super) async fn tree(
        &self,
        orders: &[i32],
        at: Moment,
        most: usize,
        arranged: bool,
    ) -> Result<Vec<String>, DemoFault> {
        self.at(at);
        let kind = self.id_of("SELECT id::text FROM flask_types WHERE name = $1", "Middle").await?;
        let family =
            self.id_of("SELECT id::text FROM burnout_families WHERE name = $1", "Resin").await?;
        let mut by_alloy: HashMap<AlloyId, Vec<String>> = HashMap::new();
        let mut order = Vec::new();
        for waiting in self.waiting(orders, "invest").await? {
            if !by_alloy.contains_key(&waiting.alloy) {
                order.push(waiting.alloy);
            }
            by_alloy.entry(waiting.alloy).or_default().push(waiting.piece.to_string());
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
                if arranged {
                    self.arrange(&flask).await?;
                }
                let joint = if self.dice.one_in(3.0) { "straight" } else { "filleted" };
                let sprued = format!("/steps/invest/{}/sprued", number_of(&flask)?);
                let told = [("place", "thickest section"), ("joint", joint)];
                self.maker.fill(&flask, &sprued, &told).await?;
                flasks.push(flask);
            }
        }
        Ok(flasks)
    }

    async fn arrange(&self, flask: &str) -> Result<(), DemoFault> {
        match self.maker.fill(flask, &format!("{flask}/arrange"), &[]).await {
            // What does not go in as the program would hang it is hung by hand.
            Ok(_) | Err(DemoFault::Refused { status: StatusCode::CONFLICT, .. }) => Ok(()),
            Err(fault) => Err(fault),
        }
    }

    /// Weighs a tree: its pieces in resin, a wax sprue and the rubber base.
    pub(super) async fn weigh(&self, flask: &str, at: Moment) -> Result<(), DemoFault> {
        self.at(at);
        let pieces_g: Option<f64> = sqlx::query_scalar(
            "SELECT sum(v.volume_mm3) / 1000 * 1.16 FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id
             JOIN attempts t ON t.id = fp.attempt_id JOIN pieces p ON p.id = t.piece_id
             JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
             WHERE f.number = $1 AND fp.left_at IS NULL",
        )
        .bind(number_of(flask)?)
        .fetch_one(self.pool)
        .await?;
        let base = self.dice.about(48.3, 0.4);
        let sprue = self.dice.about(4.1, 0.6);
        let (base_g, tree_g) =
            (format!("{base:.2}"), format!("{:.2}", base + pieces_g.unwrap_or(0.0) + sprue));
        let fields = [("base_mass_g", base_g.as_str()), ("tree_mass_g", tree_g.as_str())];
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

    /// Weighs trees from one moment on and fills their flasks from another, in turn.
    pub(super) async fn invest_all(
        &self,
        flasks: &[String],
        weighing: Moment,
        filling: Moment,
    ) -> Result<(), DemoFault> {
        for (nth, flask) in (0..).zip(flasks) {
            self.weigh(flask, weighing.plus_minutes(5 * nth)).await?;
        }
        for (nth, flask) in (0..).zip(flasks) {
            self.invest(flask, filling.plus_minutes(13 * nth)).await?;
        }
        Ok(())
    }
}

/// The fields that mark which pieces of a batch failed, and why.
pub(super) fn marked(
    pieces: &[Waiting],
    stage: &str,
    fails: &[(AttemptId, &'static str)],
) -> Vec<(String, String)> {
    let mut fields = Vec::new();
    for piece in pieces {
        let told = fails.iter().find(|(attempt, _)| *attempt == piece.attempt);
        if let Some(cause) = told.map(|(_, cause)| *cause).or_else(|| piece.cause(stage)) {
            let id = piece.attempt.to_string();
            fields.push((format!("cause-{id}"), cause.to_owned()));
            fields.push(("failed".to_owned(), id));
        }
    }
    fields
}

pub(super) fn borrowed(fields: &[(String, String)]) -> Vec<(&str, &str)> {
    fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect()
}

/// The number at the end of an address such as `/flasks/214`.
pub(super) fn number_of(path: &str) -> Result<i32, DemoFault> {
    path.rsplit('/')
        .next()
        .and_then(|number| number.parse().ok())
        .ok_or_else(|| DemoFault::Missing(format!("a number at the end of {path}")))
}
