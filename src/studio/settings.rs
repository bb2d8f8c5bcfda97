//! What is set once for the whole studio.

use jiff::tz::TimeZone;
use rust_decimal::Decimal;
use sqlx::{FromRow, PgConnection, PgExecutor};

/// The one row of settings.
#[derive(Clone, Debug, FromRow)]
pub struct Settings {
    /// The studio's name.
    pub name: String,
    /// Its time zone by name.
    pub time_zone: String,
    /// ISO 4217 code of the currency it reckons in.
    pub currency: String,
    /// `C` or `F`.
    pub temperature_unit: String,
    /// `mm` or `inch`.
    pub length_unit: String,
    /// `g`, `dwt` or `ozt`.
    pub mass_unit: String,
    /// Money for an hour at the bench.
    pub bench_rate: Decimal,
    /// Money for an hour of finishing.
    pub finishing_rate: Decimal,
    /// Minutes to set up an order, once.
    pub set_up_minutes: i32,
    /// Bench minutes for a piece: clean-up, spruing, divesting.
    pub bench_minutes: i32,
    /// Overhead as a share of cost.
    pub overhead: Decimal,
    /// Margin as a share of the net price.
    pub margin: Decimal,
    /// What the tax is called.
    pub tax_name: String,
    /// Tax as a share.
    pub tax_rate: Decimal,
    /// Whether prices are shown with the tax inside.
    pub tax_inclusive: bool,
    /// Deposit as a share of the total.
    pub deposit: Decimal,
    /// For how many days a quote holds.
    pub quote_valid_days: i32,
    /// Metal lost in melting and finishing, as a share.
    pub metal_loss: Decimal,
    /// The button as a share of the metal on the tree.
    pub button_share: Decimal,
    /// The least share of fresh metal in a charge.
    pub least_fresh: Decimal,
    /// Minutes of staff to load a kiln.
    pub load_min: i32,
    /// Minutes for a pour.
    pub pour_min: i32,
    /// Minutes more between pours of different alloys.
    pub alloy_change_min: i32,
    /// How long a load waits hot at most.
    pub max_hold_min: i32,
    /// From the first to the last pour of a load at most.
    pub max_pour_span_min: i32,
    /// Kilns in a ramp at one time at most.
    pub ramp_limit: i32,
    /// Minutes by which a piece may be late for an hour of heating in dear hours; 0: prices do
    /// not count in plans.
    pub dear_hour_min: i32,
    /// Between two flasks.
    pub flask_clearance_mm: i32,
    /// Between a flask and the kiln's wall.
    pub wall_clearance_mm: i32,
    /// Above a flask.
    pub top_clearance_mm: i32,
    /// What the furnace is called.
    pub furnace_name: String,
    /// What its crucible takes; 0 when not told.
    pub furnace_crucible_g: i32,
    /// Counts the changes.
    pub version: i64,
}

impl Settings {
    /// Reads the settings.
    pub async fn load(db: impl PgExecutor<'_>) -> Result<Self, sqlx::Error> {
        sqlx::query_as("SELECT * FROM studio").fetch_one(db).await
    }

    /// The time zone; UTC when its name is no longer known.
    #[must_use]
    pub fn zone(&self) -> TimeZone {
        TimeZone::get(&self.time_zone).unwrap_or(TimeZone::UTC)
    }
}

/// Writes the settings of a new studio; everything else takes the table's defaults.
pub async fn found(
    conn: &mut PgConnection,
    name: &str,
    time_zone: &str,
    currency: &str,
) -> Result<(), sqlx::Error> {
    sqlx::query("INSERT INTO studio (name, time_zone, currency) VALUES ($1, $2, $3)")
        .bind(name)
        .bind(time_zone)
        .bind(currency)
        .execute(&mut *conn)
        .await?;
    for weekday in 1_i16..=5 {
        sqlx::query("INSERT INTO working_hours (weekday, from_min, to_min) VALUES ($1, 480, 720), ($1, 780, 1080)")
            .bind(weekday)
            .execute(&mut *conn)
            .await?;
    }
    Ok(())
}
