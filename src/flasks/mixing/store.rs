//! All SQL of mixes, bowls and bags.

use serde_json::Value;
use sqlx::{FromRow, PgConnection, PgExecutor, PgPool};
use uuid::Uuid;

use super::model::{BowlRow, ToFill};
use crate::clock::{Day, Moment};
use crate::id::{FlaskId, InvestmentId, PersonId};
use crate::timers;

const TO_FILL: &str = "SELECT f.id, f.number, f.version, a.name AS alloy, f.investment_id, i.name AS investment, i.kind,
        i.water_per_100, t.diameter_mm, t.wall_mm, t.height_mm,
        (f.tree_mass_g - f.base_mass_g) / f.pattern_density_g_cm3 AS tree_cm3,
        coalesce(f.collar_mm, 0) AS collar_mm, coalesce(f.channels_cm3, 0) AS channels_cm3,
        coalesce(f.powder_g, 0) AS powder_g, coalesce(f.water_g, 0) AS water_g
    FROM flasks f JOIN investments i ON i.id = f.investment_id JOIN flask_types t ON t.id = f.flask_type_id
    JOIN alloys a ON a.id = f.alloy_id
    WHERE f.state = 'weighed' AND f.tree_mass_g > f.base_mass_g AND f.pattern_density_g_cm3 > 0";

/// Flasks that wait for their mix.
pub(super) async fn waiting(pool: &PgPool) -> Result<Vec<ToFill>, sqlx::Error> {
    let sql = format!("{TO_FILL} ORDER BY f.number LIMIT 100");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).fetch_all(pool).await
}

/// Some of them, held until the commit.
pub(super) async fn lock(
    conn: &mut PgConnection,
    numbers: &[i32],
) -> Result<Vec<ToFill>, sqlx::Error> {
    let sql = format!("{TO_FILL} AND f.number = ANY($1) ORDER BY f.id FOR UPDATE OF f");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(numbers).fetch_all(conn).await
}

/// The bowl; the usual one where none was entered.
pub(super) async fn bowl(db: impl PgExecutor<'_>) -> Result<BowlRow, sqlx::Error> {
    let row = sqlx::query_as(
        "SELECT brimful_cm3, boil_up, pump_cm3, flasks_under_bell, allowance_percent FROM mixing_bowl",
    )
    .fetch_optional(db)
    .await?;
    Ok(row.unwrap_or(BowlRow {
        brimful_cm3: 6000.0,
        boil_up: 2.0,
        pump_cm3: None,
        flasks_under_bell: 4,
        allowance_percent: 5.0,
    }))
}

pub(super) async fn set_bowl(conn: &mut PgConnection, to: &BowlRow) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO mixing_bowl (id, brimful_cm3, boil_up, pump_cm3, flasks_under_bell, allowance_percent)
         VALUES (true, $1, $2, $3, $4, $5)
         ON CONFLICT (id) DO UPDATE SET brimful_cm3 = $1, boil_up = $2, pump_cm3 = $3, flasks_under_bell = $4,
             allowance_percent = $5",
    )
    .bind(to.brimful_cm3)
    .bind(to.boil_up)
    .bind(to.pump_cm3)
    .bind(to.flasks_under_bell)
    .bind(to.allowance_percent)
    .execute(conn)
    .await?;
    Ok(())
}

/// A mix to be begun.
pub(super) struct NewMix<'a> {
    pub(super) investment: InvestmentId,
    pub(super) powder_g: f64,
    pub(super) water_g: f64,
    pub(super) slurry_c: f64,
    pub(super) clock: &'a Value,
    pub(super) working: &'a Value,
    pub(super) flasks: &'a [FlaskId],
}

/// Begins a mix: its flasks are being invested. Returns its number.
pub(super) async fn begin(
    conn: &mut PgConnection,
    mix: &NewMix<'_>,
    now: Moment,
    person: PersonId,
) -> Result<i32, sqlx::Error> {
    let id = Uuid::now_v7();
    let number = sqlx::query_scalar(
        "INSERT INTO mixes (id, investment_id, powder_g, water_g, slurry_c, clock, working, started_at, started_by)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) RETURNING number",
    )
    .bind(id)
    .bind(mix.investment)
    .bind(mix.powder_g)
    .bind(mix.water_g)
    .bind(mix.slurry_c)
    .bind(mix.clock)
    .bind(mix.working)
    .bind(now)
    .bind(person)
    .fetch_one(&mut *conn)
    .await?;
    sqlx::query(
        "UPDATE flasks SET state = 'mixing', mix_started_at = $2, mix_clock = $3, mix_id = $4, version = version + 1
         WHERE id = ANY($1)",
    )
    .bind(mix.flasks)
    .bind(now)
    .bind(mix.clock)
    .bind(id)
    .execute(conn)
    .await?;
    Ok(number)
}

/// A mix as it was begun.
#[derive(Clone, Debug, FromRow)]
pub(super) struct MixRow {
    pub(super) id: Uuid,
    pub(super) number: i32,
    pub(super) investment: String,
    pub(super) powder_g: f64,
    pub(super) water_g: f64,
    pub(super) slurry_c: f64,
    pub(super) clock: sqlx::types::Json<Vec<crate::flasks::view::MixStep>>,
    pub(super) working: sqlx::types::Json<crate::json::working::WorkingJson>,
    pub(super) started_at: Moment,
}

pub(super) async fn mix(db: impl PgExecutor<'_>, number: i32) -> Result<MixRow, sqlx::Error> {
    sqlx::query_as(
        "SELECT m.id, m.number, i.name AS investment, m.powder_g, m.water_g, m.slurry_c, m.clock, m.working, m.started_at
         FROM mixes m JOIN investments i ON i.id = m.investment_id WHERE m.number = $1",
    )
    .bind(number)
    .fetch_one(db)
    .await
}

/// The flasks of a mix: number, state, version.
pub(super) async fn flasks_of(
    db: impl PgExecutor<'_>,
    mix: Uuid,
) -> Result<Vec<(i32, crate::flasks::FlaskState, i64)>, sqlx::Error> {
    sqlx::query_as("SELECT number, state, version FROM flasks WHERE mix_id = $1 ORDER BY number")
        .bind(mix)
        .fetch_all(db)
        .await
}

/// Ends the clock of a flask's mix once none of its flasks is being filled any more.
pub(in crate::flasks) async fn after_leaving(
    conn: &mut PgConnection,
    flask: FlaskId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    let done: Option<i32> = sqlx::query_scalar(
        "SELECT m.number FROM flasks f JOIN mixes m ON m.id = f.mix_id WHERE f.id = $1
           AND NOT EXISTS (SELECT 1 FROM flasks o WHERE o.mix_id = m.id AND o.state = 'mixing')",
    )
    .bind(flask)
    .fetch_optional(&mut *conn)
    .await?;
    if let Some(number) = done {
        timers::end(conn, &format!("mix:{number}"), now).await?;
    }
    Ok(())
}

/// Takes powder for a flask from the bag of its investment that was opened first and still has
/// some; where no bag is entered, nothing is counted.
pub(in crate::flasks) async fn take_powder(
    conn: &mut PgConnection,
    flask: FlaskId,
    grams: f64,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO investment_takings (flask_id, lot_id, grams, at)
         SELECT f.id, l.id, $2, $3 FROM flasks f JOIN investment_lots l ON l.investment_id = f.investment_id
         LEFT JOIN LATERAL (SELECT sum(t.grams) AS taken FROM investment_takings t WHERE t.lot_id = l.id) s ON true
         WHERE f.id = $1 AND l.opened_on IS NOT NULL AND l.emptied_on IS NULL AND l.mass_g > coalesce(s.taken, 0)
         ORDER BY l.opened_on, l.received_on, l.id LIMIT 1
         ON CONFLICT (flask_id) DO UPDATE SET lot_id = EXCLUDED.lot_id, grams = EXCLUDED.grams, at = EXCLUDED.at",
    )
    .bind(flask)
    .bind(grams)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Gives back what a flask took, when its mix was begun by mistake.
pub(in crate::flasks) async fn give_back(
    conn: &mut PgConnection,
    flask: FlaskId,
) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM investment_takings WHERE flask_id = $1")
        .bind(flask)
        .execute(&mut *conn)
        .await?;
    sqlx::query("UPDATE flasks SET mix_id = NULL WHERE id = $1").bind(flask).execute(conn).await?;
    Ok(())
}

/// A bag of investment.
#[derive(Clone, Debug, FromRow)]
pub(super) struct LotRow {
    pub(super) id: Uuid,
    pub(super) investment_id: InvestmentId,
    pub(super) investment: String,
    pub(super) lot: String,
    pub(super) mass_g: f64,
    pub(super) left_g: f64,
    pub(super) received_on: Day,
    pub(super) opened_on: Option<Day>,
    pub(super) best_before: Day,
    pub(super) emptied_on: Option<Day>,
}

/// The bags, those in use first.
pub(super) async fn lots(db: impl PgExecutor<'_>) -> Result<Vec<LotRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT l.id, l.investment_id, i.name AS investment, l.lot, l.mass_g, l.received_on, l.opened_on, l.emptied_on,
                l.mass_g - coalesce((SELECT sum(t.grams) FROM investment_takings t WHERE t.lot_id = l.id), 0) AS left_g,
                (l.received_on + make_interval(months => l.shelf_months))::date AS best_before
         FROM investment_lots l JOIN investments i ON i.id = l.investment_id
         ORDER BY l.emptied_on IS NOT NULL, i.name, l.opened_on NULLS LAST, l.received_on LIMIT 200",
    )
    .fetch_all(db)
    .await
}

/// A bag that came.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct NewLot {
    pub(super) investment: InvestmentId,
    pub(super) lot: String,
    pub(super) mass_g: f64,
    pub(super) received_on: Day,
    pub(super) opened_on: Option<Day>,
    pub(super) shelf_months: i32,
}

pub(super) async fn add_lot(conn: &mut PgConnection, new: &NewLot) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO investment_lots (id, investment_id, lot, mass_g, received_on, opened_on, shelf_months)
         VALUES ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(Uuid::now_v7())
    .bind(new.investment)
    .bind(&new.lot)
    .bind(new.mass_g)
    .bind(new.received_on)
    .bind(new.opened_on)
    .bind(new.shelf_months)
    .execute(conn)
    .await?;
    Ok(())
}

/// Opens a bag, or notes it as empty, or both undone.
pub(super) async fn mark_lot(
    conn: &mut PgConnection,
    lot: Uuid,
    what: &str,
    today: Day,
) -> Result<(), sqlx::Error> {
    let sql = match what {
        "open" => {
            "UPDATE investment_lots SET opened_on = greatest($2, received_on) WHERE id = $1 AND opened_on IS NULL"
        }
        "empty" => {
            "UPDATE investment_lots SET emptied_on = $2 WHERE id = $1 AND emptied_on IS NULL"
        }
        _ => "UPDATE investment_lots SET emptied_on = NULL WHERE id = $1 AND $2::date IS NOT NULL",
    };
    sqlx::query(sql).bind(lot).bind(today).execute(conn).await?;
    Ok(())
}

/// The investments a bag can be of.
pub(super) async fn investments(pool: &PgPool) -> Result<Vec<(Uuid, String)>, sqlx::Error> {
    sqlx::query_as("SELECT id, name FROM investments WHERE retired_at IS NULL ORDER BY name")
        .fetch_all(pool)
        .await
}
