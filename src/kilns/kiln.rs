//! A kiln as the studio has entered it, and as its own firings have shown it.

use foundry::heat::{Behind, PoweredKiln};
use foundry::quantity::Celsius;
use sqlx::{FromRow, PgConnection, PgExecutor, PgPool};
use uuid::Uuid;

use super::programme::ROOM_C;
use crate::clock::Moment;
use crate::id::{KilnFitId, KilnId, KilnLogId, PersonId};

/// A kiln's entry, with the fit that is in use.
#[derive(Clone, Debug, FromRow)]
pub struct KilnFacts {
    /// The kiln.
    pub id: Uuid,
    /// Its name.
    pub name: String,
    /// Its top temperature.
    pub top_c: f64,
    /// Its power by its plate.
    pub power_kw: f64,
    /// How long it cools by 100 K.
    pub cool_min_per_100c: i32,
    /// Its power as a firing showed it, W.
    pub fitted_power_w: Option<f64>,
    /// Its loss as a firing showed it, W/K.
    pub fitted_loss_w_k: Option<f64>,
    /// The load to whose log power and loss were fitted.
    pub fitted_to: Option<i32>,
}

/// A fit counts for the entry it was made from; the newest that was not dropped is in use.
const COLUMNS: &str = "SELECT k.id, k.name, k.top_c, k.power_kw, k.cool_min_per_100c,
        f.power_w AS fitted_power_w, f.loss_w_k AS fitted_loss_w_k, f.load AS fitted_to
    FROM kilns k LEFT JOIN LATERAL (
        SELECT f.power_w, f.loss_w_k, l.number AS load FROM kiln_fits f
        JOIN kiln_logs g ON g.id = f.kiln_log_id JOIN kiln_loads l ON l.id = g.kiln_load_id
        WHERE f.kiln_id = k.id AND f.dropped_at IS NULL AND f.top_c = k.top_c
          AND f.power_kw = k.power_kw AND f.cool_min_per_100c = k.cool_min_per_100c
        ORDER BY f.taken_at DESC, f.id DESC LIMIT 1) f ON true";

impl KilnFacts {
    /// Reads a kiln.
    pub async fn read(db: impl PgExecutor<'_>, kiln: KilnId) -> Result<Self, sqlx::Error> {
        let sql = format!("{COLUMNS} WHERE k.id = $1");
        sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(kiln).fetch_one(db).await
    }

    /// The kilns in use.
    pub async fn list(pool: &PgPool) -> Result<Vec<Self>, sqlx::Error> {
        let sql = format!("{COLUMNS} WHERE k.retired_at IS NULL ORDER BY k.name");
        sqlx::query_as(sqlx::AssertSqlSafe(sql)).fetch_all(pool).await
    }

    /// Whether its power and loss are a firing's.
    #[must_use]
    pub fn is_fitted(&self) -> bool {
        self.fitted_power_w.is_some()
    }

    /// The kiln by its entry alone.
    ///
    /// # Assumes
    /// At its top temperature half of its power covers its losses (assumed); the heat its lining
    /// stores follows from the studio's own cooling time per 100 K, taken at 600 °C.
    #[must_use]
    pub fn entered(&self) -> PoweredKiln {
        let power_w = self.power_kw * 1000.0;
        let loss_w_k = 0.5 * power_w / (self.top_c - ROOM_C).max(50.0);
        let fall_s_k = f64::from(self.cool_min_per_100c.max(1)) * 60.0 / 100.0;
        PoweredKiln {
            power_w,
            loss_w_k,
            lining_j_k: (loss_w_k * (600.0 - ROOM_C) * fall_s_k).max(1000.0),
            furniture_j_k: 0.0,
            top: Celsius::of(self.top_c),
            room: Celsius::of(ROOM_C),
            behind: Behind::Waits,
        }
    }

    /// The kiln to compute with: by its entry, with power and loss of the fit in use.
    #[must_use]
    pub fn powered(&self) -> PoweredKiln {
        let entered = self.entered();
        PoweredKiln {
            power_w: self.fitted_power_w.unwrap_or(entered.power_w),
            loss_w_k: self.fitted_loss_w_k.unwrap_or(entered.loss_w_k),
            ..entered
        }
    }

    /// The hottest it gets: its top temperature, or less where its power does not carry it there.
    #[must_use]
    pub fn reaches_c(&self) -> f64 {
        self.top_c.min(self.powered().hottest_c())
    }

    /// How fast a programme may ask it to cool, K/h.
    #[must_use]
    pub fn cooling_k_h(&self) -> f64 {
        (6000.0 / f64::from(self.cool_min_per_100c.max(1))).clamp(30.0, 300.0)
    }
}

/// Power and loss to be taken over for a kiln.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NewFit {
    /// The log they were fitted to.
    pub log: KilnLogId,
    /// Power, W.
    pub power_w: f64,
    /// Loss, W/K.
    pub loss_w_k: f64,
    /// Typical error of the kiln's curve before, K.
    pub error_before_k: f64,
    /// And after, K.
    pub error_after_k: f64,
}

/// Takes power and loss over for a kiln, as its entry is now.
pub async fn take_fit(
    conn: &mut PgConnection,
    kiln: KilnId,
    fit: &NewFit,
    now: Moment,
    person: PersonId,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO kiln_fits (id, kiln_id, kiln_log_id, power_w, loss_w_k, error_before_k, error_after_k,
             top_c, power_kw, cool_min_per_100c, taken_at, taken_by)
         SELECT $1, k.id, $3, $4, $5, $6, $7, k.top_c, k.power_kw, k.cool_min_per_100c, $8, $9
         FROM kilns k WHERE k.id = $2",
    )
    .bind(KilnFitId::new())
    .bind(kiln)
    .bind(fit.log)
    .bind(fit.power_w)
    .bind(fit.loss_w_k)
    .bind(fit.error_before_k)
    .bind(fit.error_after_k)
    .bind(now)
    .bind(person)
    .execute(conn)
    .await?;
    Ok(())
}

/// Goes back behind a fit: the one before it, or the kiln's entry, is in use again.
pub async fn drop_fit(
    conn: &mut PgConnection,
    kiln: KilnId,
    fit: KilnFitId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE kiln_fits SET dropped_at = $3 WHERE id = $2 AND kiln_id = $1 AND dropped_at IS NULL",
    )
    .bind(kiln)
    .bind(fit)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// A fit of a kiln, for its history.
#[derive(Clone, Debug, FromRow)]
pub struct TakenFit {
    /// The fit.
    pub id: KilnFitId,
    /// The load it was fitted to.
    pub load: i32,
    /// Power, W.
    pub power_w: f64,
    /// Loss, W/K.
    pub loss_w_k: f64,
    /// Typical error before, K.
    pub error_before_k: f64,
    /// And after, K.
    pub error_after_k: f64,
    /// When it was taken over.
    pub taken_at: Moment,
    /// By whom.
    pub person: Option<String>,
    /// When it was given up.
    pub dropped_at: Option<Moment>,
    /// Whether the kiln's entry is still what it was made from.
    pub of_this_entry: bool,
}

/// The fits of a kiln, newest first.
pub async fn fits_of(db: impl PgExecutor<'_>, kiln: KilnId) -> Result<Vec<TakenFit>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.id, l.number AS load, f.power_w, f.loss_w_k, f.error_before_k, f.error_after_k, f.taken_at,
                p.name AS person, f.dropped_at,
                (f.top_c = k.top_c AND f.power_kw = k.power_kw AND f.cool_min_per_100c = k.cool_min_per_100c) AS of_this_entry
         FROM kiln_fits f JOIN kilns k ON k.id = f.kiln_id JOIN kiln_logs g ON g.id = f.kiln_log_id
         JOIN kiln_loads l ON l.id = g.kiln_load_id LEFT JOIN people p ON p.id = f.taken_by
         WHERE f.kiln_id = $1 ORDER BY f.taken_at DESC, f.id DESC LIMIT 20",
    )
    .bind(kiln)
    .fetch_all(db)
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kiln_falls_as_fast_as_the_studio_says() {
        let facts = KilnFacts {
            id: Uuid::nil(),
            name: String::new(),
            top_c: 1100.0,
            power_kw: 3.0,
            cool_min_per_100c: 50,
            fitted_power_w: None,
            fitted_loss_w_k: None,
            fitted_to: None,
        };
        let kiln = facts.powered();
        // By hand: 100 K in 50 min is 120 K/h, at 600 °C and empty.
        assert!((kiln.cooling_k_h(Celsius::of(600.0), 0.0) - 120.0).abs() < 0.1);
        assert!(kiln.hottest_c() > 1100.0, "it reaches its top with power to spare");
        let fitted =
            KilnFacts { fitted_power_w: Some(2500.0), fitted_loss_w_k: Some(1.0), ..facts };
        assert_eq!((fitted.powered().power_w, fitted.powered().loss_w_k), (2500.0, 1.0));
        assert_eq!(fitted.powered().lining_j_k, kiln.lining_j_k, "the lining is the entry's");
    }
}
