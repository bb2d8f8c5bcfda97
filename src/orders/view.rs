//! What pages read about orders.

use rust_decimal::Decimal;
use serde_json::Value;
use sqlx::{FromRow, PgExecutor, PgPool, QueryBuilder};

use super::state::OrderState;
use crate::clock::{Day, Moment};
use crate::id::{AlloyId, ClientId, DesignVersionId, FileId, OrderId};
use crate::promises;
use crate::web::{Order, Paged, Term, Turned};

/// Which orders are wanted.
#[derive(Clone, Debug, Default)]
pub(super) struct Filter {
    pub(super) state: Option<OrderState>,
    /// All that are not closed.
    pub(super) open: bool,
    /// Due before this day and not closed.
    pub(super) late_on: Option<Day>,
    pub(super) search: String,
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct ListRow {
    pub(super) number: i32,
    pub(super) title: String,
    pub(super) state: OrderState,
    pub(super) client: String,
    pub(super) due_on: Option<Day>,
    pub(super) created_at: Moment,
    pub(super) pieces: i64,
    pub(super) done: i64,
    pub(super) picture_id: Option<FileId>,
    /// How likely the day is, as last reckoned.
    pub(super) chance: Option<f64>,
}

impl ListRow {
    /// The chance of a day that is more likely missed than kept.
    pub(super) fn at_risk(&self) -> Option<f64> {
        promises::at_risk(self.chance)
    }

    pub(super) fn late(&self, today: &Day) -> bool {
        !self.state.is_closed() && self.due_on.is_some_and(|due| due < *today)
    }
}

fn narrow(query: &mut QueryBuilder<sqlx::Postgres>, filter: &Filter) {
    query.push(" WHERE true");
    if let Some(state) = filter.state {
        query.push(" AND o.state = ").push_bind(state);
    }
    if filter.open || filter.late_on.is_some() {
        query.push(" AND o.state IN ('enquiry', 'quoted', 'agreed', 'ready')");
    }
    if let Some(day) = filter.late_on {
        query.push(" AND o.due_on < ").push_bind(day);
    }
    if !filter.search.is_empty() {
        query
            .push(" AND (strpos(lower(o.number || ' ' || o.title || ' ' || c.name), lower(")
            .push_bind(filter.search.clone())
            .push(")) > 0 OR EXISTS (SELECT 1 FROM pieces p WHERE p.order_id = o.id AND p.label = ")
            .push_bind(filter.search.clone())
            .push("))");
    }
}

pub(super) async fn list(
    pool: &PgPool,
    filter: &Filter,
    turned: &Turned,
    size: u32,
) -> Result<Paged<ListRow>, sqlx::Error> {
    // What is due comes first; closed orders come last, newest first.
    const ORDER: Order = Order {
        terms: &[
            Term::number("(o.state IN ('handed_over', 'cancelled'))::integer"),
            Term::number(
                "CASE WHEN o.closed_at IS NULL THEN coalesce(o.due_on - date '2000-01-01', 1000000) ELSE 1000000 END",
            ),
            Term::number("-o.number"),
        ],
        falling: false,
    };
    let seek = turned.in_order(&ORDER, size);
    let mut count =
        QueryBuilder::new("SELECT count(*) FROM orders o JOIN clients c ON c.id = o.client_id");
    narrow(&mut count, filter);
    let rows = count.build_query_scalar().fetch_one(pool).await?;
    let mut list = QueryBuilder::new("SELECT ");
    list.push(seek.column()).push(
        ", o.number, o.title, o.state, c.name AS client, o.due_on, o.created_at,
            (SELECT coalesce(sum(l.quantity), 0) FROM order_lines l WHERE l.order_id = o.id AND l.removed_at IS NULL) AS pieces,
            (SELECT count(*) FROM pieces p WHERE p.order_id = o.id AND p.standing IN ('ready', 'handed_over')) AS done,
            (SELECT v.picture_id FROM order_lines l JOIN design_versions v ON v.id = l.design_version_id
              WHERE l.order_id = o.id AND l.removed_at IS NULL ORDER BY l.n LIMIT 1) AS picture_id,
            (SELECT r.chance FROM order_chances r WHERE r.order_id = o.id AND r.day = o.due_on AND o.state = 'agreed') AS chance
         FROM orders o JOIN clients c ON c.id = o.client_id",
    );
    narrow(&mut list, filter);
    seek.push_beyond(&mut list);
    list.push(seek.in_order());
    let found = list.build_query_as().fetch_all(pool).await?;
    Ok(seek.page(found, rows))
}

/// The head of an order.
#[derive(Clone, Debug, FromRow)]
pub struct OrderRow {
    /// Which.
    pub id: OrderId,
    /// Its number.
    pub number: i32,
    /// For whom.
    pub client_id: ClientId,
    /// Their name.
    pub client: String,
    /// What it is called.
    pub title: String,
    /// Where it stands.
    pub state: OrderState,
    /// When it is due.
    pub due_on: Option<Day>,
    /// Only the studio sees it.
    pub note: String,
    /// When it was opened.
    pub created_at: Moment,
    /// When the client said yes.
    pub agreed_at: Option<Moment>,
    /// Counts the changes of its head and its lines.
    pub version: i64,
}

/// Reads an order by its number.
pub async fn load(db: impl PgExecutor<'_>, number: i32) -> Result<OrderRow, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.id, o.number, o.client_id, c.name AS client, o.title, o.state, o.due_on, o.note, o.created_at,
                o.agreed_at, o.version
         FROM orders o JOIN clients c ON c.id = o.client_id WHERE o.number = $1",
    )
    .bind(number)
    .fetch_one(db)
    .await
}

/// A line of an order with what its weight and price need.
#[derive(Clone, Debug, FromRow)]
pub struct LineRow {
    /// Its number within the order.
    pub n: i32,
    /// The version of the design.
    pub design_version_id: DesignVersionId,
    /// The design's number.
    pub design_number: i32,
    /// What it is.
    pub design: String,
    /// Which version of it.
    pub version_n: i32,
    /// How many versions there are.
    pub versions: i32,
    /// Its picture.
    pub picture_id: Option<FileId>,
    /// Whether the size is known.
    pub size_known: bool,
    /// Its volume; none when open.
    pub volume_mm3: Option<f64>,
    /// The box around it.
    pub box_x_mm: f64,
    /// The box around it.
    pub box_y_mm: f64,
    /// The box around it.
    pub box_z_mm: f64,
    /// In what.
    pub alloy_id: AlloyId,
    /// Its name.
    pub alloy: String,
    /// Its density.
    pub density_g_cm3: f64,
    /// Where the density comes from.
    pub density_source: String,
    /// How many pieces.
    pub quantity: i32,
    /// For each piece.
    pub finishing_minutes: i32,
}

/// The lines of an order that stand.
pub async fn lines(db: impl PgExecutor<'_>, order: OrderId) -> Result<Vec<LineRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT l.n, l.design_version_id, d.number AS design_number, d.name AS design, v.n AS version_n,
                (SELECT max(n) FROM design_versions WHERE design_id = d.id) AS versions, v.picture_id,
                v.unit IS NOT NULL AS size_known, v.volume_mm3, v.box_x_mm, v.box_y_mm, v.box_z_mm,
                l.alloy_id, a.name AS alloy, a.density_g_cm3, a.source AS density_source, l.quantity, l.finishing_minutes
         FROM order_lines l JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
         JOIN alloys a ON a.id = l.alloy_id
         WHERE l.order_id = $1 AND l.removed_at IS NULL ORDER BY l.n",
    )
    .bind(order)
    .fetch_all(db)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct QuoteRow {
    pub(super) n: i32,
    pub(super) state: String,
    pub(super) total: Decimal,
    pub(super) currency: String,
    pub(super) valid_until: Day,
    pub(super) outdated_at: Option<Moment>,
    pub(super) answered_name: Option<String>,
    pub(super) answer: String,
}

/// The newest quote of an order.
pub(super) async fn quote(pool: &PgPool, order: OrderId) -> Result<Option<QuoteRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT n, state, total, currency, valid_until, outdated_at, answered_name, answer FROM quotes
         WHERE order_id = $1 ORDER BY n DESC LIMIT 1",
    )
    .bind(order)
    .fetch_optional(pool)
    .await
}

/// What of an agreed order is to be invoiced now: its deposit before work begins, the rest once its
/// pieces are ready or have gone.
pub(super) async fn to_invoice(
    pool: &PgPool,
    order: OrderId,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT CASE WHEN o.state IN ('ready', 'handed_over') THEN 'rest' ELSE 'deposit' END
           FROM orders o JOIN quotes q ON q.order_id = o.id AND q.state = 'accepted'
          WHERE o.id = $1
            AND NOT EXISTS (SELECT 1 FROM invoices i WHERE i.order_id = o.id AND i.kind = 'invoice' AND i.purpose = 'rest')
            AND (o.state IN ('ready', 'handed_over')
                 OR (o.state = 'agreed' AND (q.content ->> 'deposit')::numeric > 0
                     AND NOT EXISTS (SELECT 1 FROM invoices i WHERE i.order_id = o.id AND i.kind = 'invoice' AND i.purpose = 'deposit')))
          LIMIT 1",
    )
    .bind(order)
    .fetch_optional(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct HistoryRow {
    pub(super) at: Moment,
    pub(super) person: Option<String>,
    pub(super) action: String,
    pub(super) detail: Value,
}

impl HistoryRow {
    /// What is worth reading of the detail.
    pub(super) fn words(&self) -> String {
        let text = |key: &str| self.detail.get(key).and_then(Value::as_str).unwrap_or_default();
        let count = |key: &str| self.detail.get(key).and_then(Value::as_i64);
        [
            text("name").to_owned(),
            count("quote").map(|n| format!("quote {n}")).unwrap_or_default(),
            count("line").map(|n| format!("line {n}")).unwrap_or_default(),
            count("pieces").map(|n| format!("{n} pieces")).unwrap_or_default(),
            text("why").to_owned(),
        ]
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join(", ")
    }
}

pub(super) async fn history(pool: &PgPool, number: i32) -> Result<Vec<HistoryRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT a.at, p.name AS person, a.action, a.detail FROM audit a LEFT JOIN people p ON p.id = a.person_id
         WHERE a.subject = $1 ORDER BY a.id DESC LIMIT 200",
    )
    .bind(format!("order:{number}"))
    .fetch_all(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct DesignChoice {
    pub(super) number: i32,
    pub(super) name: String,
    pub(super) version: DesignVersionId,
    /// What finishing a piece of it took, as learned from those that were made.
    pub(super) finishing_minutes: Option<i32>,
}

/// The newest version of a design, for a line.
pub(super) async fn design(
    db: impl PgExecutor<'_>,
    number: i32,
) -> Result<Option<DesignChoice>, sqlx::Error> {
    sqlx::query_as(
        "SELECT d.number, d.name, v.id AS version, d.finishing_minutes FROM designs d JOIN design_versions v ON v.design_id = d.id
         WHERE d.number = $1 ORDER BY v.n DESC LIMIT 1",
    )
    .bind(number)
    .fetch_optional(db)
    .await
}

/// The alloy of the newest line: of this order, else of anything this client ordered.
pub(super) async fn usual_alloy(
    pool: &PgPool,
    client: ClientId,
    order: Option<OrderId>,
) -> Result<Option<AlloyId>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT l.alloy_id FROM order_lines l JOIN orders o ON o.id = l.order_id JOIN alloys a ON a.id = l.alloy_id
         WHERE o.client_id = $1 AND l.removed_at IS NULL AND a.retired_at IS NULL
         ORDER BY (o.id = $2) DESC NULLS LAST, o.number DESC, l.n DESC LIMIT 1",
    )
    .bind(client)
    .bind(order)
    .fetch_optional(pool)
    .await
}

/// What finishing a piece usually took: the middle of the last fifty, and how many there were.
/// From fewer than five nothing is claimed.
pub(super) async fn usual_finishing(pool: &PgPool) -> Result<Option<(i32, i64)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT percentile_disc(0.5) WITHIN GROUP (ORDER BY minutes), count(*) FROM (
           SELECT minutes FROM finishing WHERE passed AND minutes IS NOT NULL ORDER BY ended_at DESC LIMIT 50) x
         HAVING count(*) >= 5",
    )
    .fetch_optional(pool)
    .await
}

/// Designs to choose from, newest first.
pub(super) async fn designs(pool: &PgPool) -> Result<Vec<(i32, String)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT number, name FROM designs WHERE archived_at IS NULL ORDER BY number DESC LIMIT 300",
    )
    .fetch_all(pool)
    .await
}
