//! What the pour sheet reads.

use sqlx::{FromRow, PgPool};

use crate::clock::Moment;
use crate::flasks::FlaskState;
use crate::id::{AlloyId, ClientId, FlaskId, PieceId};
use crate::kiln_loads::{Setting, settings};
use crate::metal::{Drawer, Stock, balances, drawers};
use crate::web::{Order, Paged, Term, Turned};

#[derive(Clone, Debug, FromRow)]
pub(super) struct SheetRow {
    pub(super) flask_id: FlaskId,
    pub(super) number: i32,
    pub(super) state: FlaskState,
    pub(super) alloy_id: AlloyId,
    pub(super) alloy: String,
    pub(super) charge_g: Option<f64>,
    pub(super) melt_c: f64,
    pub(super) flask_c: f64,
    pub(super) load: i32,
    pub(super) kiln: String,
    pub(super) planned_pour_at: Moment,
    pub(super) cool_min_per_100c: i32,
    /// Where its kiln stands: at the temperature of the flask poured last, or at its programme's
    /// end.
    pub(super) kiln_c: f64,
}

/// What the controllers are to be set to between pours, flask by flask of the sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Between {
    /// Before this pour, of the first that is still to come from a load.
    pub(super) before: Option<Setting>,
    /// After this pour, for the next one of the load.
    pub(super) after: Option<Setting>,
}

/// The same for every flask of a sheet, load by load.
pub(super) fn between(sheet: &[SheetRow]) -> Vec<Between> {
    let mut all = vec![Between::default(); sheet.len()];
    let mut loads: Vec<i32> = sheet.iter().map(|row| row.load).collect();
    loads.sort_unstable();
    loads.dedup();
    for load in loads {
        let mut of: Vec<usize> = (0..sheet.len()).filter(|&n| sheet[n].load == load).collect();
        of.sort_by_key(|&n| sheet[n].planned_pour_at);
        let Some(&first) = of.first() else { continue };
        let flasks = of.iter().map(|&n| sheet[n].flask_c);
        let set = settings(sheet[first].kiln_c, flasks, sheet[first].cool_min_per_100c);
        all[first].before = set[0];
        for (pair, set) in of.windows(2).zip(&set[1..]) {
            all[pair[0]].after = *set;
        }
    }
    all
}

/// Every flask in a load that is planned, burning or held, in pouring order.
pub(super) async fn sheet(pool: &PgPool) -> Result<Vec<SheetRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.id AS flask_id, f.number, f.state, f.alloy_id, a.name AS alloy, f.charge_g, a.melt_c, f.flask_c,
                l.number AS load, k.name AS kiln, lf.planned_pour_at, k.cool_min_per_100c,
                coalesce((SELECT g.flask_c FROM pours p JOIN flasks g ON g.id = p.flask_id WHERE p.kiln_load_id = l.id
                          ORDER BY p.poured_at DESC LIMIT 1),
                         (l.programme -> -1 ->> 'target_c')::float8, f.flask_c) AS kiln_c
         FROM kiln_load_flasks lf JOIN kiln_loads l ON l.id = lf.kiln_load_id JOIN kilns k ON k.id = l.kiln_id
         JOIN flasks f ON f.id = lf.flask_id JOIN alloys a ON a.id = f.alloy_id
         WHERE lf.left_at IS NULL AND l.state IN ('planned', 'burning', 'held') AND f.state IN ('weighed', 'mixing', 'setting', 'in_kiln', 'hot')
         ORDER BY (f.state = 'hot') DESC, lf.planned_pour_at, f.flask_c DESC, f.number LIMIT 200",
    )
    .fetch_all(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct SheetPiece {
    pub(super) flask_id: FlaskId,
    pub(super) piece_id: PieceId,
    pub(super) label: String,
    pub(super) design: String,
    pub(super) client_id: ClientId,
}

pub(super) async fn pieces(
    pool: &PgPool,
    flasks: &[FlaskId],
) -> Result<Vec<SheetPiece>, sqlx::Error> {
    sqlx::query_as(
        "SELECT fp.flask_id, p.id AS piece_id, p.label, d.name AS design, o.client_id FROM flask_pieces fp
         JOIN attempts x ON x.id = fp.attempt_id JOIN pieces p ON p.id = x.piece_id JOIN orders o ON o.id = p.order_id
         JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
         JOIN designs d ON d.id = v.design_id
         WHERE fp.flask_id = ANY($1) AND fp.left_at IS NULL ORDER BY p.label",
    )
    .bind(flasks)
    .fetch_all(pool)
    .await
}

pub(super) async fn stock(pool: &PgPool, alloy: AlloyId) -> Result<Stock, sqlx::Error> {
    balances(pool, alloy).await
}

pub(super) async fn own(pool: &PgPool, alloy: AlloyId) -> Result<Vec<Drawer>, sqlx::Error> {
    drawers(pool, alloy).await
}

/// How much of a charge must be fresh: by the alloy's rule, else the studio's.
pub(super) async fn least_fresh(pool: &PgPool, alloy: AlloyId) -> Result<f64, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT coalesce(l.least_fresh, s.least_fresh)::double precision FROM studio s, alloys l WHERE l.id = $1",
    )
    .bind(alloy)
    .fetch_one(pool)
    .await
}

pub(super) async fn causes(pool: &PgPool) -> Result<Vec<(String, String)>, sqlx::Error> {
    sqlx::query_as("SELECT name, name FROM causes WHERE stage = 'cast' ORDER BY n, name")
        .fetch_all(pool)
        .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct DoneRow {
    pub(super) number: i32,
    pub(super) alloy: String,
    pub(super) fresh_cg: i64,
    pub(super) returns_cg: i64,
    pub(super) own_cg: i64,
    pub(super) melt_c: f64,
    pub(super) flask_c: f64,
    pub(super) method: String,
    pub(super) result: String,
    pub(super) poured_at: Moment,
    pub(super) person: Option<String>,
    /// Whether its tree is still uncut, so that it can be taken back or corrected.
    pub(super) open: bool,
}

pub(super) async fn done(
    pool: &PgPool,
    turned: &Turned,
    size: u32,
) -> Result<Paged<DoneRow>, sqlx::Error> {
    const ORDER: Order =
        Order { terms: &[Term::moment("p.poured_at"), Term::id("p.id")], falling: true };
    let seek = turned.in_order(&ORDER, size);
    let rows = sqlx::query_scalar("SELECT count(*) FROM pours").fetch_one(pool).await?;
    let sql = format!(
        "SELECT {}, f.number, a.name AS alloy, p.fresh_cg, p.returns_cg, p.own_cg, p.melt_c, p.flask_c, p.method, p.result, p.poured_at,
                who.name AS person, f.state = 'poured' AS open
         FROM pours p JOIN flasks f ON f.id = p.flask_id JOIN alloys a ON a.id = f.alloy_id
         LEFT JOIN people who ON who.id = p.person_id WHERE {}{}",
        seek.column(),
        seek.beyond("$1"),
        seek.in_order()
    );
    let found = sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(seek.key()).fetch_all(pool).await?;
    Ok(seek.page(found, rows))
}

/// Flasks that are poured and not divested, the last first; their pours can be taken back.
pub(super) async fn open(pool: &PgPool) -> Result<Vec<(i32, Moment)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.number, p.poured_at FROM flasks f JOIN pours p ON p.flask_id = f.id
         WHERE f.state = 'poured' ORDER BY p.poured_at DESC LIMIT 40",
    )
    .fetch_all(pool)
    .await
}

/// The flasks poured since a moment, as what happened to pieces names them.
pub(super) async fn poured_since(pool: &PgPool, since: Moment) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT 'flask:' || f.number FROM pours p JOIN flasks f ON f.id = p.flask_id
         WHERE p.poured_at > $1 ORDER BY p.poured_at DESC LIMIT 60",
    )
    .bind(since)
    .fetch_all(pool)
    .await
}
