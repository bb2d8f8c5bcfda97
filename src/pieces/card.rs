//! The route card: a piece's row, with one box for each stage.

use sqlx::postgres::PgRow;
use sqlx::{FromRow, PgPool, QueryBuilder, Row};

use super::model::{Stage, Standing};
use crate::clock::{Day, Moment};
use crate::id::{AttemptId, FileId, OrderId, PieceId};
use crate::web::{Keyed, Order, Paged, Seek, Term, Turned};

/// How a box of the route card looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BoxState {
    /// The stage is still to come.
    ToCome,
    /// The piece waits for this stage.
    Waiting,
    /// The stage is under way.
    InHand,
    /// The stage is done.
    Done,
    /// The attempt failed here.
    Failed,
}

impl BoxState {
    /// The word beside the mark, and the class that draws it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::ToCome => "to come",
            Self::Waiting => "waiting",
            Self::InHand => "in hand",
            Self::Done => "done",
            Self::Failed => "failed",
        }
    }

    /// The class name in the style sheet.
    #[must_use]
    pub const fn class(self) -> &'static str {
        match self {
            Self::ToCome => "to-come",
            Self::Waiting => "waiting",
            Self::InHand => "in-hand",
            Self::Done => "done",
            Self::Failed => "failed",
        }
    }
}

/// One box.
#[derive(Clone, Debug)]
pub struct CardBox {
    /// Which stage.
    pub stage: Stage,
    /// How it stands.
    pub state: BoxState,
    /// When it began or ended.
    pub at: Option<Moment>,
    /// The batch it happened in.
    pub batch: Option<String>,
}

impl CardBox {
    /// The batch in the trade's words, such as `plate 41`.
    #[must_use]
    pub fn batch_words(&self) -> Option<String> {
        let batch = self.batch.as_deref()?;
        Some(batch.replacen(':', " ", 1))
    }
}

/// A piece as it is shown in lists.
#[derive(Clone, Debug)]
pub struct RouteCard {
    /// The piece.
    pub piece: PieceId,
    /// The attempt shown: the one under way, or the last.
    pub attempt: AttemptId,
    /// `1042-3`.
    pub label: String,
    /// Its order.
    pub order: OrderId,
    /// Its order's number.
    pub order_number: i32,
    /// What the order is called.
    pub order_title: String,
    /// For whom.
    pub client: String,
    /// What it is.
    pub design: String,
    /// The design's number.
    pub design_number: i32,
    /// Its picture.
    pub picture: Option<FileId>,
    /// In which alloy.
    pub alloy: String,
    /// Which attempt is under way.
    pub attempt_n: i32,
    /// Where it is.
    pub stage: Stage,
    /// How it stands there.
    pub standing: Standing,
    /// When the order is due.
    pub due_on: Option<Day>,
    /// The id of its last event; forms carry it.
    pub version: i64,
    /// The six boxes.
    pub boxes: Vec<CardBox>,
}

impl RouteCard {
    /// Where the piece is, in words.
    #[must_use]
    pub fn words(&self) -> String {
        super::State { attempt_n: self.attempt_n, stage: self.stage, standing: self.standing }
            .words()
    }

    /// The address of its page.
    #[must_use]
    pub fn path(&self) -> String {
        format!("/pieces/{}", self.label)
    }
}

/// Which pieces are wanted.
#[derive(Clone, Debug, Default)]
pub struct Filter {
    /// Of one order.
    pub order: Option<OrderId>,
    /// At one stage.
    pub stage: Option<Stage>,
    /// Standing in one of these ways; empty for all.
    pub standing: Vec<Standing>,
    /// One piece.
    pub label: Option<String>,
    /// These attempts.
    pub attempts: Option<Vec<AttemptId>>,
    /// Label, client, order or design containing this.
    pub search: String,
    /// Orders due before today.
    pub late_on: Option<Day>,
    /// Most urgent first instead of last changed first.
    pub by_due: bool,
}

/// Route cards as a list, and how many there are in all.
#[derive(Clone, Debug, Default)]
pub struct Cards {
    /// The cards of this page.
    pub cards: Vec<RouteCard>,
    /// How many match.
    pub rows: i64,
}

/// Everything a card shows; each join meets exactly one row.
const FROM: &str = " FROM pieces p
    JOIN orders o ON o.id = p.order_id
    JOIN clients c ON c.id = o.client_id
    JOIN order_lines l ON l.id = p.order_line_id
    JOIN design_versions v ON v.id = l.design_version_id
    JOIN designs d ON d.id = v.design_id
    JOIN alloys a ON a.id = l.alloy_id
    WHERE true";

/// The most urgent first.
const BY_DUE: Order = Order {
    terms: &[
        Term::number("coalesce(o.due_on - date '2000-01-01', 1000000)"),
        Term::number("o.number"),
        Term::number("p.n"),
    ],
    falling: false,
};

/// What changed last first.
const BY_CHANGE: Order =
    Order { terms: &[Term::moment("p.changed_at"), Term::id("p.id")], falling: true };

impl Filter {
    const fn order(&self) -> &'static Order {
        if self.by_due { &BY_DUE } else { &BY_CHANGE }
    }
}

impl Cards {
    /// Finds the first cards, `size` at most.
    pub async fn find(pool: &PgPool, filter: &Filter, size: i64) -> Result<Self, sqlx::Error> {
        let page = page(pool, filter, Seek::first(filter.order(), size)).await?;
        let rows = page.all();
        Ok(Self { cards: page.rows, rows })
    }

    /// Finds the cards of a page of a long list.
    pub async fn page(
        pool: &PgPool,
        filter: &Filter,
        turned: &Turned,
        size: u32,
    ) -> Result<Paged<RouteCard>, sqlx::Error> {
        page(pool, filter, turned.in_order(filter.order(), size)).await
    }
}

async fn page(pool: &PgPool, filter: &Filter, seek: Seek) -> Result<Paged<RouteCard>, sqlx::Error> {
    let (rows, found) = if filter.search.trim().is_empty() || filter.by_due {
        let mut count = QueryBuilder::new("SELECT count(*)");
        count.push(if filter.search.trim().is_empty() { bare(filter) } else { FROM });
        narrow(&mut count, filter);
        (count.build_query_scalar().fetch_one(pool).await?, None)
    } else {
        let (rows, found) = searched(pool, filter, &seek).await?;
        (rows, Some(found))
    };
    let mut list = QueryBuilder::new("SELECT ");
    list.push(seek.column()).push(
        ", p.id, p.label, p.order_id, p.attempt_n, p.stage::text AS stage, p.standing, p.version,
            o.number AS order_number, o.title, o.due_on, c.name AS client, d.name AS design,
            d.number AS design_number, v.picture_id, a.name AS alloy,
            (SELECT t.id FROM attempts t WHERE t.piece_id = p.id
              ORDER BY (t.ended_at IS NULL) DESC, t.ended_at DESC LIMIT 1) AS attempt",
    );
    list.push(FROM);
    if let Some(found) = found {
        list.push(" AND p.id = ANY(").push_bind(found).push(")");
    } else {
        narrow(&mut list, filter);
        seek.push_beyond(&mut list);
    }
    list.push(seek.in_order());
    let found: Vec<Keyed<RouteCard>> = list.build_query_as().fetch_all(pool).await?;
    let mut page = seek.page(found, rows);
    fill_boxes(pool, &mut page.rows).await?;
    Ok(page)
}

/// Pieces, and of their orders what a condition needs.
const fn bare(filter: &Filter) -> &'static str {
    match filter.late_on {
        Some(_) => " FROM pieces p JOIN orders o ON o.id = p.order_id WHERE true",
        None => " FROM pieces p WHERE true",
    }
}

/// How many pieces are found by words, and which of them are on the page: everything that was ever
/// made is looked through once for both.
async fn searched(
    pool: &PgPool,
    filter: &Filter,
    seek: &Seek,
) -> Result<(i64, Vec<PieceId>), sqlx::Error> {
    let mut query = QueryBuilder::new("WITH hits AS MATERIALIZED (SELECT p.id, p.changed_at");
    query.push(bare(filter));
    narrow(&mut query, filter);
    query.push(") SELECT (SELECT count(*) FROM hits), ARRAY(SELECT p.id FROM hits p WHERE true");
    seek.push_beyond(&mut query);
    query.push(seek.in_order()).push(")");
    query.build_query_as().fetch_one(pool).await
}

fn narrow(query: &mut QueryBuilder<sqlx::Postgres>, filter: &Filter) {
    if let Some(order) = filter.order {
        query.push(" AND p.order_id = ").push_bind(order);
    }
    if let Some(stage) = filter.stage {
        query.push(" AND p.stage = ").push_bind(stage.name());
    }
    if !filter.standing.is_empty() {
        // Written out, so that the index of what is being made serves whatever else was made.
        let mut words = query.push(" AND p.standing IN (").separated(", ");
        for standing in &filter.standing {
            words.push("'").push_unseparated(word(*standing)).push_unseparated("'");
        }
        words.push_unseparated(")");
    }
    if let Some(label) = &filter.label {
        query.push(" AND p.label = ").push_bind(label.clone());
    }
    if let Some(attempts) = &filter.attempts {
        query
            .push(" AND EXISTS (SELECT 1 FROM attempts t WHERE t.piece_id = p.id AND t.id = ANY(")
            .push_bind(attempts.clone())
            .push("))");
    }
    if let Some(day) = filter.late_on {
        query.push(" AND o.due_on < ").push_bind(day);
    }
    let search = filter.search.trim();
    if !search.is_empty() {
        let escaped = search.replace('\\', "\\\\").replace('%', "\\%").replace('_', "\\_");
        let like = format!("%{escaped}%");
        // Of the few being made each is joined to its words; of all that was ever made words are
        // looked for where they are kept once.
        let condition = if filter.by_due { SEARCHED_JOINED } else { SEARCHED };
        for (n, part) in condition.split('?').enumerate() {
            if n > 0 {
                query.push_bind(like.clone());
            }
            query.push(part);
        }
    }
}

/// Pieces whose label, or the name of whose client, order, design or alloy, is like `?`.
const SEARCHED: &str = " AND (p.order_id IN (SELECT id FROM orders WHERE title ILIKE ?
            OR client_id IN (SELECT id FROM clients WHERE name ILIKE ?))
        OR p.order_line_id IN (SELECT l.id FROM order_lines l WHERE l.alloy_id IN (SELECT id FROM alloys WHERE name ILIKE ?)
            OR l.design_version_id IN (SELECT v.id FROM design_versions v JOIN designs d ON d.id = v.design_id WHERE d.name ILIKE ?))
        OR p.label LIKE ?)";

/// The same of pieces that are joined to all that a card shows.
const SEARCHED_JOINED: &str = " AND (p.label ILIKE ? OR c.name ILIKE ? OR o.title ILIKE ? OR d.name ILIKE ? OR a.name ILIKE ?)";

const fn word(standing: Standing) -> &'static str {
    match standing {
        Standing::Waiting => "waiting",
        Standing::InHand => "in_hand",
        Standing::Ready => "ready",
        Standing::HandedOver => "handed_over",
        Standing::Cancelled => "cancelled",
    }
}

impl<'r> FromRow<'r, PgRow> for RouteCard {
    fn from_row(row: &'r PgRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            piece: row.try_get("id")?,
            attempt: row.try_get("attempt")?,
            label: row.try_get("label")?,
            order: row.try_get("order_id")?,
            order_number: row.try_get("order_number")?,
            order_title: row.try_get("title")?,
            client: row.try_get("client")?,
            design: row.try_get("design")?,
            design_number: row.try_get("design_number")?,
            picture: row.try_get("picture_id")?,
            alloy: row.try_get("alloy")?,
            attempt_n: row.try_get("attempt_n")?,
            stage: row.try_get("stage")?,
            standing: row.try_get("standing")?,
            due_on: row.try_get("due_on")?,
            version: row.try_get("version")?,
            boxes: Vec::new(),
        })
    }
}

#[derive(FromRow)]
pub(super) struct BoxRow {
    attempt_id: AttemptId,
    stage: Stage,
    entered_at: Option<Moment>,
    finished_at: Option<Moment>,
    failed_at: Option<Moment>,
    batch: Option<String>,
}

/// The filled boxes of some attempts.
pub(super) async fn box_rows(
    pool: &PgPool,
    attempts: &[AttemptId],
) -> Result<Vec<BoxRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT attempt_id, stage::text AS stage, entered_at, finished_at, failed_at, batch
         FROM attempt_stages WHERE attempt_id = ANY($1)",
    )
    .bind(attempts)
    .fetch_all(pool)
    .await
}

async fn fill_boxes(pool: &PgPool, cards: &mut [RouteCard]) -> Result<(), sqlx::Error> {
    let attempts: Vec<AttemptId> = cards.iter().map(|card| card.attempt).collect();
    let rows = box_rows(pool, &attempts).await?;
    for card in cards {
        card.boxes = boxes_of(&rows, card.attempt, Some((card.stage, card.standing)));
    }
    Ok(())
}

/// The six boxes of an attempt; `now` is where its piece stands, none for an attempt that ended.
pub(super) fn boxes_of(
    rows: &[BoxRow],
    attempt: AttemptId,
    now: Option<(Stage, Standing)>,
) -> Vec<CardBox> {
    Stage::ALL
        .into_iter()
        .map(|stage| {
            let row = rows.iter().find(|row| row.attempt_id == attempt && row.stage == stage);
            box_of(now, stage, row)
        })
        .collect()
}

fn box_of(now: Option<(Stage, Standing)>, stage: Stage, row: Option<&BoxRow>) -> CardBox {
    let waits = now == Some((stage, Standing::Waiting));
    let Some(row) = row else {
        let state = if waits { BoxState::Waiting } else { BoxState::ToCome };
        return CardBox { stage, state, at: None, batch: None };
    };
    let (state, at) = match (row.failed_at, row.finished_at, row.entered_at) {
        (Some(at), ..) => (BoxState::Failed, Some(at)),
        (None, Some(at), _) => (BoxState::Done, Some(at)),
        (None, None, at) if now == Some((stage, Standing::InHand)) => (BoxState::InHand, at),
        (None, None, _) if waits => (BoxState::Waiting, None),
        (None, None, at) => (BoxState::ToCome, at),
    };
    CardBox { stage, state, at, batch: row.batch.clone() }
}
