//! What the next quote starts from, changed by what an order took: taken over with one tap, given
//! back with another.

use rust_decimal::Decimal;
use serde_json::json;
use sqlx::{FromRow, PgConnection, PgExecutor, PgPool};
use uuid::Uuid;

use super::inputs::Inputs;
use crate::audit;
use crate::clock::Moment;
use crate::id::OrderId;
use crate::people::Signed;
use crate::web::{Fault, Refused};

/// Something that quotes start from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub(super) enum Start {
    /// The studio's share of metal that is lost.
    MetalLoss,
    /// The studio's minutes at the bench for a piece.
    BenchMinutes,
    /// A design's minutes of finishing.
    FinishingMinutes,
    /// Supports in per cent of the model.
    SupportsPercent,
    /// Powder for a flask.
    PowderKg,
    /// Energy of a load of a kiln.
    KilnKwh,
    /// Hours of a load of a kiln.
    KilnHours,
    /// Gas of a load of a kiln.
    GasKg,
}

impl Start {
    const ALL: [Self; 8] = [
        Self::MetalLoss,
        Self::BenchMinutes,
        Self::FinishingMinutes,
        Self::SupportsPercent,
        Self::PowderKg,
        Self::KilnKwh,
        Self::KilnHours,
        Self::GasKg,
    ];

    /// The word in forms and in the database.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::MetalLoss => "metal_loss",
            Self::BenchMinutes => "bench_minutes",
            Self::FinishingMinutes => "finishing_minutes",
            Self::SupportsPercent => "supports_percent",
            Self::PowderKg => "powder_kg",
            Self::KilnKwh => "kiln_kwh",
            Self::KilnHours => "kiln_hours",
            Self::GasKg => "gas_kg",
        }
    }

    /// What starts from it, for the button.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::MetalLoss => "Metal lost, in every quote",
            Self::BenchMinutes => "Bench, in every quote",
            Self::FinishingMinutes => "Finishing of this design",
            Self::SupportsPercent => "Supports, in every quote",
            Self::PowderKg => "Powder for a flask, in every quote",
            Self::KilnKwh => "Energy of a load of this kiln",
            Self::KilnHours => "Hours of a load of this kiln",
            Self::GasKg => "Gas of a load of this kiln",
        }
    }

    /// The value as it is shown, with its unit.
    pub(super) fn shown(self, value: Decimal) -> String {
        let (value, unit) = match self {
            Self::MetalLoss => (value * Decimal::ONE_HUNDRED, "%"),
            Self::SupportsPercent => (value, "% of the model"),
            Self::BenchMinutes | Self::FinishingMinutes => (value, "min"),
            Self::PowderKg | Self::GasKg => (value, "kg"),
            Self::KilnKwh => (value, "kWh"),
            Self::KilnHours => (value, "h"),
        };
        format!("{}\u{202f}{unit}", value.normalize())
    }

    /// What is kept of a value: the most there can be, and how many decimals.
    const fn limits(self) -> (i64, u32) {
        match self {
            // As a share.
            Self::MetalLoss => (0, 4),
            Self::BenchMinutes | Self::FinishingMinutes => (10_000, 0),
            Self::SupportsPercent => (500, 0),
            Self::PowderKg | Self::GasKg => (1000, 3),
            Self::KilnKwh => (10_000, 1),
            Self::KilnHours => (1000, 1),
        }
    }

    /// A value that can be kept.
    pub(super) fn within(self, value: Decimal) -> Decimal {
        let (most, decimals) = self.limits();
        let most = if most == 0 { Decimal::new(5, 1) } else { Decimal::from(most) };
        value.clamp(Decimal::ZERO, most).round_dp(decimals)
    }
}

impl std::str::FromStr for Start {
    type Err = ();
    fn from_str(word: &str) -> Result<Self, ()> {
        Self::ALL.into_iter().find(|start| start.word() == word).ok_or(())
    }
}

/// What an order proposes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Proposal {
    pub(super) what: Start,
    /// The number of a design, the id of a kiln, or nothing.
    pub(super) item: String,
    pub(super) after: Decimal,
}

/// What it is now; none where it is reckoned.
pub(super) async fn now(
    db: impl PgExecutor<'_>,
    what: Start,
    item: &str,
) -> Result<Option<Decimal>, sqlx::Error> {
    let sql = match what {
        Start::MetalLoss => "SELECT metal_loss::numeric FROM studio WHERE $1 = '' AND $2 <> ''",
        Start::BenchMinutes => {
            "SELECT bench_minutes::numeric FROM studio WHERE $1 = '' AND $2 <> ''"
        }
        Start::FinishingMinutes => {
            "SELECT finishing_minutes::numeric FROM designs WHERE number::text = $1 AND $2 <> ''"
        }
        _ => "SELECT value FROM quote_starts WHERE item = $1 AND what = $2",
    };
    let found: Option<Option<Decimal>> =
        sqlx::query_scalar(sql).bind(item).bind(what.word()).fetch_optional(db).await?;
    Ok(found.flatten())
}

/// Sets it, if it still is what it was; says whether it did.
async fn set(
    conn: &mut PgConnection,
    what: Start,
    item: &str,
    was: Option<Decimal>,
    value: Option<Decimal>,
) -> Result<bool, sqlx::Error> {
    if now(&mut *conn, what, item).await?.map(|now| now.normalize())
        != was.map(|was| was.normalize())
    {
        return Ok(false);
    }
    let sql = match (what, value) {
        (Start::MetalLoss, _) => {
            "UPDATE studio SET metal_loss = $3, version = version + 1 WHERE $1 = '' AND $2 <> ''"
        }
        (Start::BenchMinutes, _) => {
            "UPDATE studio SET bench_minutes = $3::integer, version = version + 1 WHERE $1 = '' AND $2 <> ''"
        }
        (Start::FinishingMinutes, _) => {
            "UPDATE designs SET finishing_minutes = $3::integer, version = version + 1 WHERE number::text = $1 AND $2 <> ''"
        }
        (_, Some(_)) => {
            "INSERT INTO quote_starts (item, what, value) VALUES ($1, $2, $3)
             ON CONFLICT (what, item) DO UPDATE SET value = EXCLUDED.value"
        }
        (_, None) => {
            "DELETE FROM quote_starts WHERE item = $1 AND what = $2 AND $3::numeric IS NULL"
        }
    };
    let done = sqlx::query(sql).bind(item).bind(what.word()).bind(value).execute(conn).await?;
    Ok(done.rows_affected() == 1)
}

/// A change that an order made.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Taken {
    pub(super) id: Uuid,
    pub(super) what: Start,
    pub(super) item: String,
    pub(super) before: Option<Decimal>,
    pub(super) after: Decimal,
    pub(super) taken_at: Moment,
    pub(super) person: Option<String>,
    pub(super) reversed_at: Option<Moment>,
}

/// What an order changed, the latest first.
pub(super) async fn of_order(pool: &PgPool, order: OrderId) -> Result<Vec<Taken>, sqlx::Error> {
    sqlx::query_as(
        "SELECT c.id, c.what, c.item, c.before, c.after, c.taken_at, p.name AS person, c.reversed_at
         FROM price_changes c LEFT JOIN people p ON p.id = c.taken_by
         WHERE c.order_id = $1 ORDER BY c.taken_at DESC, c.id DESC",
    )
    .bind(order)
    .fetch_all(pool)
    .await
}

async fn note(
    conn: &mut PgConnection,
    signed: &Signed,
    action: &str,
    (what, item): (Start, &str),
    (before, after): (Option<Decimal>, Option<Decimal>),
) -> Result<(), sqlx::Error> {
    let subject = format!("start:{}:{item}", what.word());
    let detail = json!({ "before": before, "after": after });
    audit::note(conn, signed.now, Some(signed.person), action, &subject, detail).await
}

/// Lets the next quotes start from what an order took.
pub(super) async fn take(
    conn: &mut PgConnection,
    signed: &Signed,
    order: OrderId,
    proposal: &Proposal,
) -> Result<(), Fault> {
    let Proposal { what, item, after } = proposal;
    let before = now(&mut *conn, *what, item).await?;
    if before == Some(*after) {
        return Err(Refused::conflict("Quotes start from that already.").into());
    }
    if !set(conn, *what, item, before, Some(*after)).await? {
        return Err(Refused::stale("what quotes start from").into());
    }
    sqlx::query(
        "INSERT INTO price_changes (id, what, item, before, after, order_id, taken_at, taken_by)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(Uuid::now_v7())
    .bind(what)
    .bind(item)
    .bind(before)
    .bind(after)
    .bind(order)
    .bind(signed.now)
    .bind(signed.person)
    .execute(&mut *conn)
    .await?;
    Ok(note(conn, signed, "took over", (*what, item), (before, Some(*after))).await?)
}

/// Puts it back to what it was, if nobody has set it to something else since.
pub(super) async fn give_back(
    conn: &mut PgConnection,
    signed: &Signed,
    order: OrderId,
    id: Uuid,
) -> Result<(), Fault> {
    let held: Taken = sqlx::query_as(
        "SELECT id, what, item, before, after, taken_at, NULL AS person, reversed_at FROM price_changes
         WHERE id = $1 AND order_id = $2 FOR UPDATE",
    )
    .bind(id)
    .bind(order)
    .fetch_one(&mut *conn)
    .await?;
    if held.reversed_at.is_some() {
        return Err(Refused::conflict("This was given back already.").into());
    }
    if !set(conn, held.what, &held.item, Some(held.after), held.before).await? {
        return Err(Refused::conflict(
            "It was set to something else since, so it was left as it is.",
        )
        .into());
    }
    sqlx::query("UPDATE price_changes SET reversed_at = $2, reversed_by = $3 WHERE id = $1")
        .bind(id)
        .bind(signed.now)
        .bind(signed.person)
        .execute(&mut *conn)
        .await?;
    let change = (Some(held.after), held.before);
    Ok(note(conn, signed, "gave back", (held.what, &held.item), change).await?)
}

/// Puts what was taken over into what a first price starts from.
pub(super) async fn apply(db: impl PgExecutor<'_>, inputs: &mut Inputs) -> Result<(), sqlx::Error> {
    let rows: Vec<(Start, String, Decimal)> =
        sqlx::query_as("SELECT what, item, value FROM quote_starts").fetch_all(db).await?;
    let kiln = inputs.kiln.map(|id| id.to_string());
    for (what, item, value) in rows {
        let of_kiln = kiln.as_ref() == Some(&item);
        match what {
            Start::SupportsPercent => inputs.supports_percent = value,
            Start::PowderKg => inputs.powder_kg = value,
            Start::KilnKwh if of_kiln => inputs.kiln_kwh = value,
            Start::KilnHours if of_kiln => inputs.kiln_hours = value,
            Start::GasKg if of_kiln => inputs.gas_kg = value,
            _ => {}
        }
    }
    Ok(())
}
