//! What pages read about designs.

use foundry::mesh::Unit;
use sqlx::types::Json;
use sqlx::{FromRow, PgPool};

use super::store::VersionFile;
use crate::clock::Moment;
use crate::id::{ClientId, DesignId, DesignVersionId, FileId};
use crate::json::measure::ProblemJson;
use crate::web::{Order, Paged, Term, Turned};

#[derive(Clone, Debug, FromRow)]
pub(super) struct ListRow {
    pub(super) number: i32,
    pub(super) name: String,
    pub(super) client: Option<String>,
    pub(super) picture_id: Option<FileId>,
    pub(super) versions: i64,
    pub(super) unit: Option<String>,
    pub(super) volume_mm3: Option<f64>,
    pub(super) box_x_mm: f64,
    pub(super) box_y_mm: f64,
    pub(super) box_z_mm: f64,
}

const MATCHES: &str = "d.archived_at IS NULL
    AND ($1 = '' OR strpos(lower(d.name || ' ' || d.number || ' ' || coalesce(c.name, '')), lower($1)) > 0)";

pub(super) async fn list(
    pool: &PgPool,
    search: &str,
    turned: &Turned,
    size: u32,
) -> Result<Paged<ListRow>, sqlx::Error> {
    const ORDER: Order = Order { terms: &[Term::number("d.number")], falling: true };
    let seek = turned.in_order(&ORDER, size);
    let rows = sqlx::query_scalar(sqlx::AssertSqlSafe(format!(
        "SELECT count(*) FROM designs d LEFT JOIN clients c ON c.id = d.client_id WHERE {MATCHES}"
    )))
    .bind(search)
    .fetch_one(pool)
    .await?;
    let found = sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "SELECT {}, d.number, d.name, c.name AS client, v.picture_id, v.n::bigint AS versions, v.unit, v.volume_mm3,
                v.box_x_mm, v.box_y_mm, v.box_z_mm
         FROM designs d LEFT JOIN clients c ON c.id = d.client_id
         JOIN LATERAL (SELECT * FROM design_versions WHERE design_id = d.id ORDER BY n DESC LIMIT 1) v ON true
         WHERE {MATCHES} AND {}{}",
        seek.column(),
        seek.beyond("$2"),
        seek.in_order()
    )))
    .bind(search)
    .bind(seek.key())
    .fetch_all(pool)
    .await?;
    Ok(seek.page(found, rows))
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct DesignRow {
    pub(super) id: DesignId,
    pub(super) number: i32,
    pub(super) name: String,
    pub(super) client_id: Option<ClientId>,
    pub(super) note: String,
    pub(super) version: i64,
}

pub(super) async fn load(pool: &PgPool, number: i32) -> Result<DesignRow, sqlx::Error> {
    sqlx::query_as(
        "SELECT d.id, d.number, d.name, d.client_id, d.note, d.version
         FROM designs d WHERE d.number = $1",
    )
    .bind(number)
    .fetch_one(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct VersionRow {
    pub(super) id: DesignVersionId,
    pub(super) n: i32,
    pub(super) file_name: String,
    pub(super) unit: Option<String>,
    pub(super) unit_reason: String,
    pub(super) format: String,
    pub(super) triangles: i64,
    pub(super) shells: i32,
    pub(super) closed: bool,
    pub(super) volume_mm3: Option<f64>,
    pub(super) area_mm2: f64,
    pub(super) box_x_mm: f64,
    pub(super) box_y_mm: f64,
    pub(super) box_z_mm: f64,
    pub(super) problems: Json<Vec<ProblemJson>>,
    pub(super) picture_id: Option<FileId>,
    pub(super) measured_at: Moment,
    pub(super) added_by: Option<String>,
}

/// A size that a model would have in a unit.
#[derive(Clone, Debug)]
pub(super) struct Size {
    pub(super) code: &'static str,
    pub(super) unit: Unit,
    pub(super) sides_mm: [f64; 3],
    pub(super) here: bool,
}

impl Size {
    /// The size in the unit itself, with the digits that help to tell.
    pub(super) fn own(&self) -> String {
        let each = self.sides_mm.map(|mm| {
            let own = mm / self.unit.in_millimetres();
            if own >= 100.0 { format!("{own:.0}") } else { format!("{own:.2}") }
        });
        format!("{} {}", each.join(" × "), self.unit.symbol())
    }

    pub(super) fn is_mm(&self) -> bool {
        self.unit == Unit::Millimetre
    }

    pub(super) fn likely(&self) -> bool {
        let longest = self.sides_mm.into_iter().fold(0.0, f64::max);
        (3.0..=300.0).contains(&longest)
    }
}

impl VersionRow {
    /// The sizes the model would have in each unit, likely ones first.
    pub(super) fn sizes(&self) -> Vec<Size> {
        let now = self.unit.as_deref().and_then(Unit::from_name);
        let scale = now.unwrap_or(Unit::Millimetre).in_millimetres();
        let raw = [self.box_x_mm, self.box_y_mm, self.box_z_mm].map(|mm| mm / scale);
        let mut sizes: Vec<Size> = [Unit::Millimetre, Unit::Inch, Unit::Centimetre, Unit::Metre]
            .into_iter()
            .chain(now.filter(|unit| matches!(unit, Unit::Micron | Unit::Foot)))
            .map(|unit| Size {
                code: crate::json::measure::code(unit),
                unit,
                sides_mm: raw.map(|side| side * unit.in_millimetres()),
                here: now == Some(unit),
            })
            .collect();
        sizes.sort_by_key(|size| !size.likely());
        sizes
    }

    pub(super) fn unit_words(&self) -> &'static str {
        self.unit.as_deref().and_then(Unit::from_name).map_or("unknown", Unit::name)
    }
}

pub(super) async fn versions(
    pool: &PgPool,
    design: DesignId,
) -> Result<Vec<VersionRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT v.id, v.n, v.file_name, v.unit, v.unit_reason, v.format, v.triangles, v.shells, v.closed, v.volume_mm3,
                v.area_mm2, v.box_x_mm, v.box_y_mm, v.box_z_mm, v.problems, v.picture_id, v.measured_at,
                p.name AS added_by
         FROM design_versions v LEFT JOIN people p ON p.id = v.added_by
         WHERE v.design_id = $1 ORDER BY v.n DESC",
    )
    .bind(design)
    .fetch_all(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct OrderRow {
    pub(super) number: i32,
    pub(super) title: String,
    pub(super) state: String,
    pub(super) client: String,
    pub(super) pieces: i64,
    pub(super) version_n: i32,
}

impl OrderRow {
    pub(super) fn state_words(&self) -> String {
        self.state.replace('_', " ")
    }
}

pub(super) async fn orders_with(
    pool: &PgPool,
    design: DesignId,
) -> Result<Vec<OrderRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.number, o.title, o.state, c.name AS client, sum(l.quantity) AS pieces, max(v.n) AS version_n
         FROM order_lines l JOIN design_versions v ON v.id = l.design_version_id
         JOIN orders o ON o.id = l.order_id JOIN clients c ON c.id = o.client_id
         WHERE v.design_id = $1 AND l.removed_at IS NULL
         GROUP BY o.id, c.name ORDER BY o.number DESC LIMIT 100",
    )
    .bind(design)
    .fetch_all(pool)
    .await
}

pub(super) async fn version_file(
    pool: &PgPool,
    number: i32,
    n: i32,
) -> Result<VersionFile, sqlx::Error> {
    sqlx::query_as(
        "SELECT v.id, v.file_id, v.file_name, v.unit FROM design_versions v JOIN designs d ON d.id = v.design_id
         WHERE d.number = $1 AND v.n = $2",
    )
    .bind(number)
    .bind(n)
    .fetch_one(pool)
    .await
}

/// The resin that patterns are printed in.
#[derive(Clone, Debug, FromRow)]
pub(super) struct UsualResin {
    pub(super) name: String,
    /// How much a pattern contracts in print and cure.
    pub(super) shrinkage: f64,
}

/// The resin of the last plate; before there is one, the first resin that was entered.
pub(super) async fn usual_resin(pool: &PgPool) -> Result<Option<UsualResin>, sqlx::Error> {
    sqlx::query_as(
        "SELECT r.name, r.shrinkage FROM resins r LEFT JOIN resin_lots l ON l.resin_id = r.id
         LEFT JOIN LATERAL (SELECT max(p.number) AS last FROM plates p WHERE p.resin_lot_id = l.id) used ON true
         WHERE r.retired_at IS NULL GROUP BY r.id ORDER BY max(used.last) DESC NULLS LAST, r.name LIMIT 1",
    )
    .fetch_optional(pool)
    .await
}
