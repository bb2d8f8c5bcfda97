//! What pages read about kiln loads.

use std::collections::HashMap;

use sqlx::{FromRow, PgExecutor, PgPool};

use crate::clock::Moment;
use crate::id::{FamilyId, FlaskId, FlaskTypeId, InvestmentId, KilnId, KilnLoadId};
use crate::kilns::{FilledFlask, SegmentRow, total_minutes};
use crate::web::{Order, Paged, Term, Turned};

/// How far a load has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub enum LoadState {
    /// Agreed in a plan.
    Planned,
    /// The programme runs.
    Burning,
    /// The programme's last hold: its flasks may be poured.
    Held,
    /// Over.
    Ended,
    /// Given up.
    Cancelled,
}

impl LoadState {
    /// What a person reads.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Planned => "planned",
            Self::Burning => "burning out",
            Self::Held => "held, ready to pour",
            Self::Ended => "ended",
            Self::Cancelled => "given up",
        }
    }
}

/// A load with its kiln.
#[derive(Clone, Debug, FromRow)]
pub struct LoadRow {
    /// The load.
    pub id: KilnLoadId,
    /// Its number.
    pub number: i32,
    /// Its kiln.
    pub kiln_id: KilnId,
    /// The kiln's name.
    pub kiln: String,
    /// The kiln's floor.
    pub width_mm: i32,
    /// The kiln's floor.
    pub depth_mm: i32,
    /// How far it has come.
    pub state: LoadState,
    /// The programme's family.
    pub family_id: FamilyId,
    /// Its name.
    pub family: String,
    /// The size class whose programme runs.
    pub size_class: String,
    /// The programme as it was when the load was planned.
    pub programme: sqlx::types::Json<Vec<SegmentRow>>,
    /// When it was to start.
    pub planned_start_at: Moment,
    /// When it was to be held.
    pub planned_held_at: Moment,
    /// So many minutes later than by its programme, for its kiln takes longer for it.
    pub planned_longer_min: i32,
    /// When it started.
    pub started_at: Option<Moment>,
    /// When it was held.
    pub held_at: Option<Moment>,
    /// When it ended.
    pub ended_at: Option<Moment>,
    /// Counts the changes.
    pub version: i64,
}

impl LoadRow {
    /// When its programme began or is to begin.
    #[must_use]
    pub fn starts(&self) -> Moment {
        self.started_at.unwrap_or(self.planned_start_at)
    }

    /// When it is held by its programme.
    #[must_use]
    pub fn held_by_programme(&self) -> Moment {
        match self.started_at {
            Some(at) => at.plus_minutes(total_minutes(&self.programme.0)),
            None => self.planned_held_at.plus_minutes(-i64::from(self.planned_longer_min)),
        }
    }
}

/// The columns of [`LoadRow`], for queries that add their own conditions.
const COLUMNS: &str = "SELECT l.id, l.number, l.kiln_id, k.name AS kiln, k.width_mm, k.depth_mm, l.state, l.family_id, b.name AS family,
        l.size_class, l.programme, l.planned_start_at, l.planned_held_at, l.planned_longer_min, l.started_at, l.held_at, l.ended_at, l.version
    FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id JOIN burnout_families b ON b.id = l.family_id";

/// A load by its number.
pub async fn load(db: impl PgExecutor<'_>, number: i32) -> Result<LoadRow, sqlx::Error> {
    let sql = format!("{COLUMNS} WHERE l.number = $1");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(number).fetch_one(db).await
}

/// Those of some loads that are planned or burning.
pub(super) async fn not_held(pool: &PgPool, numbers: &[i32]) -> Result<Vec<LoadRow>, sqlx::Error> {
    let sql = format!("{COLUMNS} WHERE l.state IN ('planned', 'burning') AND l.number = ANY($1)");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(numbers).fetch_all(pool).await
}

/// Loads that were or are to be in a kiln between two moments, in order of their start.
pub async fn list_between(
    pool: &PgPool,
    from: Moment,
    to: Moment,
) -> Result<Vec<LoadRow>, sqlx::Error> {
    let sql = format!(
        "{COLUMNS} WHERE l.state <> 'cancelled'
           AND (coalesce(l.ended_at, greatest(l.planned_held_at, coalesce(l.held_at, l.started_at, l.planned_start_at))) >= $1
                OR l.state IN ('burning', 'held'))
           AND coalesce(l.started_at, l.planned_start_at) < $2
         ORDER BY coalesce(l.started_at, l.planned_start_at) LIMIT 500"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(from).bind(to).fetch_all(pool).await
}

/// A flask's place in a load.
#[derive(Clone, Debug, FromRow)]
pub struct Standing {
    /// Its load.
    pub load_id: KilnLoadId,
    /// The flask.
    pub flask_id: FlaskId,
    /// Its type.
    pub flask_type_id: FlaskTypeId,
    /// Its investment.
    pub investment_id: InvestmentId,
    /// Its number.
    pub number: i32,
    /// Centre from the left wall.
    pub x_mm: f64,
    /// Centre from the front.
    pub y_mm: f64,
    /// As far as its heat goes.
    #[sqlx(flatten)]
    pub filled: FilledFlask,
    /// The flask's alloy.
    pub alloy: String,
    /// Temperature at which it is to be poured.
    pub flask_c: f64,
    /// When.
    pub planned_pour_at: Moment,
    /// When it was poured.
    pub poured_at: Option<Moment>,
    /// Its pieces.
    pub pieces: i64,
}

/// The columns of [`Standing`], of flasks that stand in a load or were poured from it.
const STANDING: &str = "SELECT l.id AS load_id, f.id AS flask_id, f.flask_type_id, f.investment_id, f.number, lf.x_mm, lf.y_mm, t.diameter_mm, t.height_mm, t.wall_mm, i.water_per_100,
        a.name AS alloy, f.flask_c, lf.planned_pour_at, p.poured_at,
        (SELECT count(*) FROM flask_pieces fp WHERE fp.flask_id = f.id) AS pieces
    FROM kiln_load_flasks lf JOIN kiln_loads l ON l.id = lf.kiln_load_id JOIN flasks f ON f.id = lf.flask_id
    JOIN flask_types t ON t.id = f.flask_type_id JOIN investments i ON i.id = f.investment_id
    JOIN alloys a ON a.id = f.alloy_id LEFT JOIN pours p ON p.flask_id = f.id AND p.kiln_load_id = l.id
    WHERE (lf.left_at IS NULL OR l.state = 'ended' OR p.id IS NOT NULL)";

/// The flasks of a load in pouring order; those of an ended load too.
pub async fn standing_in(
    db: impl PgExecutor<'_>,
    load: KilnLoadId,
) -> Result<Vec<Standing>, sqlx::Error> {
    let sql = format!("{STANDING} AND l.id = $1 ORDER BY lf.planned_pour_at, f.number");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(load).fetch_all(db).await
}

/// The flasks of several loads, each in pouring order.
pub async fn standing_in_each(
    db: impl PgExecutor<'_>,
    loads: &[KilnLoadId],
) -> Result<HashMap<KilnLoadId, Vec<Standing>>, sqlx::Error> {
    let sql = format!("{STANDING} AND l.id = ANY($1) ORDER BY lf.planned_pour_at, f.number");
    let rows: Vec<Standing> =
        sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(loads).fetch_all(db).await?;
    let mut each: HashMap<KilnLoadId, Vec<Standing>> = HashMap::new();
    for row in rows {
        each.entry(row.load_id).or_default().push(row);
    }
    Ok(each)
}

/// A load as it stands in a list.
#[derive(Clone, Debug, FromRow)]
pub(super) struct ListRow {
    pub(super) number: i32,
    pub(super) state: LoadState,
    pub(super) kiln: String,
    pub(super) family: String,
    pub(super) size_class: String,
    pub(super) starts: Moment,
    pub(super) held: Moment,
    pub(super) ended_at: Option<Moment>,
    pub(super) flasks: i64,
    pub(super) numbers: Option<String>,
    pub(super) poured: i64,
    pub(super) has_log: bool,
}

/// A page of loads and how many there are in all: open ones by their start, old ones the latest
/// first. A search looks at numbers of loads and flasks, kilns and families.
pub(super) async fn list(
    pool: &PgPool,
    open: bool,
    search: &str,
    turned: &Turned,
    size: u32,
) -> Result<Paged<ListRow>, sqlx::Error> {
    const OPEN: Order = Order {
        terms: &[
            Term::moment("coalesce(l.started_at, l.planned_start_at)"),
            Term::number("l.number"),
        ],
        falling: false,
    };
    const OLD: Order = Order { terms: &[Term::number("l.number")], falling: true };
    const WANTED: &str = "(l.state IN ('ended', 'cancelled')) = NOT $1
        AND ($2 = '' OR strpos(lower(l.number || ' ' || k.name || ' ' || b.name), lower($2)) > 0
             OR EXISTS (SELECT FROM kiln_load_flasks lf JOIN flasks f ON f.id = lf.flask_id
                        WHERE lf.kiln_load_id = l.id AND f.number::text = $2))";
    let sql = format!(
        "SELECT count(*) FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id
         JOIN burnout_families b ON b.id = l.family_id WHERE {WANTED}"
    );
    let rows = sqlx::query_scalar(sqlx::AssertSqlSafe(sql))
        .bind(open)
        .bind(search)
        .fetch_one(pool)
        .await?;
    let seek = turned.in_order(if open { &OPEN } else { &OLD }, size);
    let sql = format!(
        "SELECT {}, l.number, l.state, k.name AS kiln, b.name AS family, l.size_class,
                coalesce(l.started_at, l.planned_start_at) AS starts,
                coalesce(l.held_at, l.planned_held_at) AS held, l.ended_at,
                inside.flasks, inside.numbers, inside.poured,
                EXISTS (SELECT FROM kiln_logs g WHERE g.kiln_load_id = l.id) AS has_log
         FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id JOIN burnout_families b ON b.id = l.family_id
         CROSS JOIN LATERAL (
             SELECT count(*) AS flasks, count(p.id) AS poured,
                    string_agg(f.number::text, ', ' ORDER BY lf.planned_pour_at, f.number) AS numbers
             FROM kiln_load_flasks lf JOIN flasks f ON f.id = lf.flask_id
             LEFT JOIN pours p ON p.flask_id = f.id AND p.kiln_load_id = l.id
             WHERE lf.kiln_load_id = l.id AND (lf.left_at IS NULL OR l.state = 'ended' OR p.id IS NOT NULL)
         ) inside
         WHERE {WANTED} AND {}{}",
        seek.column(),
        seek.beyond("$3"),
        seek.in_order()
    );
    let found = sqlx::query_as(sqlx::AssertSqlSafe(sql))
        .bind(open)
        .bind(search)
        .bind(seek.key())
        .fetch_all(pool)
        .await?;
    Ok(seek.page(found, rows))
}

/// The load and every flask that ever stood in it, as what happened to pieces names them.
pub(super) async fn batches(pool: &PgPool, load: &LoadRow) -> Result<Vec<String>, sqlx::Error> {
    let mut batches: Vec<String> = sqlx::query_scalar(
        "SELECT 'flask:' || f.number FROM kiln_load_flasks x JOIN flasks f ON f.id = x.flask_id WHERE x.kiln_load_id = $1",
    )
    .bind(load.id)
    .fetch_all(pool)
    .await?;
    batches.push(format!("load:{}", load.number));
    Ok(batches)
}
