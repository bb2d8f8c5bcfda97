//! The statement of a client's metal: what they brought, what became of it, what is still here.

use std::collections::BTreeMap;

use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;
use sqlx::{FromRow, PgPool};

use crate::clock::Moment;
use crate::id::{AlloyId, ClientId, MetalBatchId};

/// A line of the statement.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Row {
    pub(super) id: MetalBatchId,
    pub(super) alloy_id: AlloyId,
    pub(super) kind: String,
    /// What it was about when it takes something back, else the same as `kind`.
    what: String,
    pub(super) at: Moment,
    pub(super) subject: String,
    pub(super) note: String,
    /// What is owed to them changes by so much.
    pub(super) owed: i64,
    /// What is in their drawer changes by so much.
    pub(super) drawer: i64,
    /// What is owed to them afterwards.
    #[sqlx(skip)]
    pub(super) after: i64,
}

impl Row {
    /// What happened, in words a client understands.
    pub(super) fn words(&self) -> String {
        let about = self.subject.replacen(':', " ", 1);
        let said = match self.what.as_str() {
            "received" => "brought to us".to_owned(),
            "returned" => "given back".to_owned(),
            "poured" => format!("melted for {about}"),
            "divested" => format!("sprues and button of {about}"),
            "delivered" => format!("handed over in {about}"),
            "settled" => "settled by agreement".to_owned(),
            "counted" => "counted".to_owned(),
            other => format!("{other}, {about}"),
        };
        if self.kind == "reversed" { format!("taken back: {said}") } else { said }
    }
}

/// The statement of one alloy.
#[derive(Clone, Debug)]
pub(super) struct OfAlloy {
    pub(super) alloy: String,
    /// Owed before the first line.
    pub(super) opening: i64,
    pub(super) rows: Vec<Row>,
    /// Brought in all lines.
    pub(super) brought: i64,
    /// Given back as metal.
    pub(super) back: i64,
    /// Handed over in pieces.
    pub(super) pieces: i64,
    /// Settled by agreement.
    pub(super) settled: i64,
    /// Still owed.
    pub(super) owed: i64,
    /// Of it, in their drawer.
    pub(super) drawer: i64,
}

impl OfAlloy {
    /// Owed and not in the drawer: in pieces being made, or lost in making them.
    pub(super) const fn in_work(&self) -> i64 {
        self.owed - self.drawer
    }

    /// How what is still owed follows from what was brought and what became of it.
    pub(super) fn owed_working(&self) -> Working {
        let mut working = Working::default();
        let known = self.opening + self.brought - self.back - self.pieces - self.settled;
        let mut inputs = vec![
            grams("before", self.opening),
            grams("brought", self.brought),
            grams("given back", self.back),
            grams("handed over in pieces", self.pieces),
            grams("settled", self.settled),
        ];
        let mut formula = "before + brought − given back − handed over − settled".to_owned();
        if known != self.owed {
            formula.push_str(" + otherwise");
            inputs.push(grams("otherwise", self.owed - known));
        }
        working.step(formula, inputs, grams("still with us", self.owed));
        working
    }

    /// How what is in work follows from the drawer.
    pub(super) fn work_working(&self) -> Working {
        let mut working = Working::default();
        let inputs = vec![grams("still with us", self.owed), grams("in the drawer", self.drawer)];
        working.step("still with us − in the drawer", inputs, grams("in work", self.in_work()));
        working
    }

    /// How what is still owed after a row follows from what was before.
    pub(super) fn row_working(&self, row: &Row) -> Working {
        let mut working = Working::default();
        let inputs = vec![grams("before", row.after - row.owed), grams(row.words(), row.owed)];
        working.step("before + this", inputs, grams("still with us", row.after));
        working
    }
}

fn grams(name: impl Into<String>, cg: i64) -> Figure {
    Figure::exact(name.into(), Decimal::new(cg, 2), "g", Source::MeasuredHere)
}

/// From when until before when.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Span {
    pub(super) from: Option<Moment>,
    pub(super) before: Option<Moment>,
}

/// The statement of a client by alloy; empty when they never brought any.
pub(super) async fn statement(
    pool: &PgPool,
    client: ClientId,
    span: Span,
) -> Result<Vec<OfAlloy>, sqlx::Error> {
    let openings: Vec<(AlloyId, String, i64, i64)> = sqlx::query_as(
        "SELECT l.id, l.name,
                coalesce(-sum(p.cg) FILTER (WHERE a.kind = 'client' AND m.at < $2), 0)::bigint,
                coalesce(sum(p.cg) FILTER (WHERE a.kind = 'own' AND ($3::timestamptz IS NULL OR m.at < $3)), 0)::bigint
         FROM metal_accounts a JOIN metal_postings p ON p.account_id = a.id
         JOIN metal_batches m ON m.id = p.batch_id JOIN alloys l ON l.id = a.alloy_id
         WHERE a.client_id = $1 GROUP BY l.id, l.name ORDER BY lower(l.name)",
    )
    .bind(client)
    .bind(span.from)
    .bind(span.before)
    .fetch_all(pool)
    .await?;
    let rows: Vec<Row> = sqlx::query_as(
        "SELECT m.id, a.alloy_id, m.kind, coalesce(o.kind, m.kind) AS what, m.at, m.subject, m.note,
                coalesce(-sum(p.cg) FILTER (WHERE a.kind = 'client'), 0)::bigint AS owed,
                coalesce(sum(p.cg) FILTER (WHERE a.kind = 'own'), 0)::bigint AS drawer
         FROM metal_accounts a JOIN metal_postings p ON p.account_id = a.id
         JOIN metal_batches m ON m.id = p.batch_id LEFT JOIN metal_batches o ON o.id = m.reverses
         WHERE a.client_id = $1 AND ($2::timestamptz IS NULL OR m.at >= $2) AND ($3::timestamptz IS NULL OR m.at < $3)
         GROUP BY m.id, o.id, a.alloy_id ORDER BY m.at, m.id",
    )
    .bind(client)
    .bind(span.from)
    .bind(span.before)
    .fetch_all(pool)
    .await?;
    let mut by_alloy: BTreeMap<AlloyId, Vec<Row>> = BTreeMap::new();
    for row in rows {
        by_alloy.entry(row.alloy_id).or_default().push(row);
    }
    Ok(openings
        .into_iter()
        .map(|(alloy_id, alloy, opening, drawer)| {
            let mut rows = by_alloy.remove(&alloy_id).unwrap_or_default();
            let mut owed = opening;
            for row in &mut rows {
                owed += row.owed;
                row.after = owed;
            }
            let sum = |what: &str| -> i64 {
                rows.iter().filter(|row| row.what == what).map(|row| row.owed).sum()
            };
            OfAlloy {
                alloy,
                opening,
                brought: sum("received"),
                back: -sum("returned"),
                pieces: -sum("delivered"),
                settled: -sum("settled"),
                rows,
                owed,
                drawer,
            }
        })
        .collect())
}

/// A client with metal of their own here.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Holder {
    pub(super) id: ClientId,
    pub(super) name: String,
    pub(super) alloy: String,
    pub(super) owed: i64,
    pub(super) drawer: i64,
}

/// Clients with open metal, by name and alloy.
pub(super) async fn holders(pool: &PgPool) -> Result<Vec<Holder>, sqlx::Error> {
    sqlx::query_as(
        "SELECT c.id, c.name, l.name AS alloy,
                coalesce(-sum(b.cg) FILTER (WHERE a.kind = 'client'), 0)::bigint AS owed,
                coalesce(sum(b.cg) FILTER (WHERE a.kind = 'own'), 0)::bigint AS drawer
         FROM metal_accounts a JOIN metal_balances b ON b.account_id = a.id
         JOIN clients c ON c.id = a.client_id JOIN alloys l ON l.id = a.alloy_id
         WHERE b.cg <> 0 GROUP BY c.id, l.id ORDER BY lower(c.name), c.id, lower(l.name)",
    )
    .fetch_all(pool)
    .await
}

/// Clients to choose from, by name.
pub(super) async fn clients(pool: &PgPool) -> Result<Vec<(ClientId, String)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name FROM clients WHERE archived_at IS NULL ORDER BY lower(name), id",
    )
    .fetch_all(pool)
    .await
}

/// A client's name.
pub(super) async fn name_of(pool: &PgPool, client: ClientId) -> Result<String, sqlx::Error> {
    sqlx::query_scalar("SELECT name FROM clients WHERE id = $1").bind(client).fetch_one(pool).await
}
