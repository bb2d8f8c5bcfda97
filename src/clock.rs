//! The time: read here and nowhere else, so that a test can set it.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};
use sqlx::encode::IsNull;
use sqlx::error::BoxDynError;
use sqlx::postgres::{PgArgumentBuffer, PgTypeInfo, PgValueRef, Postgres};

/// Tells the time: the system's, or one that a test sets.
#[derive(Clone, Debug, Default)]
pub struct Clock(Option<Arc<AtomicI64>>);

impl Clock {
    /// The machine's clock.
    #[must_use]
    pub fn system() -> Self {
        Self(None)
    }

    /// A clock that stands still until it is set again.
    #[must_use]
    pub fn set_at(moment: Moment) -> Self {
        Self(Some(Arc::new(AtomicI64::new(moment.0.as_microsecond()))))
    }

    /// Moves a clock made by [`Clock::set_at`]; does nothing to the system's.
    pub fn set(&self, moment: Moment) {
        if let Some(micros) = &self.0 {
            micros.store(moment.0.as_microsecond(), Ordering::SeqCst);
        }
    }

    /// The present moment, in whole microseconds as the database keeps it.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "the one place that reads the clock")]
    pub fn now(&self) -> Moment {
        let micros = match &self.0 {
            Some(set) => set.load(Ordering::SeqCst),
            None => Timestamp::now().as_microsecond(),
        };
        Moment(Timestamp::from_microsecond(micros).unwrap_or(Timestamp::UNIX_EPOCH))
    }
}

/// A point in time.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, Default,
)]
#[serde(transparent)]
pub struct Moment(pub Timestamp);

impl Moment {
    /// The moment so many minutes later; saturates at the ends of the calendar.
    #[must_use]
    pub fn plus_minutes(self, minutes: i64) -> Self {
        self.plus_seconds(minutes.saturating_mul(60))
    }

    /// The moment so many seconds later; saturates at the ends of the calendar.
    #[must_use]
    pub fn plus_seconds(self, seconds: i64) -> Self {
        let span = jiff::SignedDuration::from_secs(seconds);
        Self(self.0.saturating_add(span).unwrap_or(if seconds < 0 {
            Timestamp::MIN
        } else {
            Timestamp::MAX
        }))
    }

    /// Whole seconds from `earlier` to here; negative when `earlier` is later.
    #[must_use]
    pub fn seconds_since(self, earlier: Self) -> i64 {
        self.0.as_second() - earlier.0.as_second()
    }

    /// Whole minutes from `earlier` to here, rounded down.
    #[must_use]
    pub fn minutes_since(self, earlier: Self) -> i64 {
        self.seconds_since(earlier).div_euclid(60)
    }

    /// The day on which the moment falls in a time zone.
    #[must_use]
    pub fn day_in(self, zone: &TimeZone) -> Day {
        Day(zone.to_datetime(self.0).date())
    }
}

impl std::fmt::Display for Moment {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

/// A day of the calendar.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Day(pub jiff::civil::Date);

impl Day {
    /// The day so many days later; saturates at the ends of the calendar.
    #[must_use]
    pub fn plus_days(self, days: i32) -> Self {
        Self(self.0.saturating_add(jiff::Span::new().try_days(days).unwrap_or_default()))
    }

    /// The moment at which the day begins in a time zone.
    #[must_use]
    pub fn start_in(self, zone: &TimeZone) -> Moment {
        let begin = zone.to_ambiguous_timestamp(self.0.at(0, 0, 0, 0)).compatible();
        Moment(begin.unwrap_or(Timestamp::UNIX_EPOCH))
    }
}

impl std::fmt::Display for Day {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

/// Lets a wrapper travel to and from the database in the form of `jiff_sqlx`.
macro_rules! stored_as {
    ($own:ident, $jiff:ty, $stored:ty) => {
        impl sqlx::Type<Postgres> for $own {
            fn type_info() -> PgTypeInfo {
                <$stored as sqlx::Type<Postgres>>::type_info()
            }
        }
        impl sqlx::postgres::PgHasArrayType for $own {
            fn array_type_info() -> PgTypeInfo {
                <$stored as sqlx::postgres::PgHasArrayType>::array_type_info()
            }
        }
        impl<'r> sqlx::Decode<'r, Postgres> for $own {
            fn decode(value: PgValueRef<'r>) -> Result<Self, BoxDynError> {
                <$stored as sqlx::Decode<Postgres>>::decode(value).map(|kept| Self(kept.to_jiff()))
            }
        }
        impl<'q> sqlx::Encode<'q, Postgres> for $own {
            fn encode_by_ref(&self, buffer: &mut PgArgumentBuffer) -> Result<IsNull, BoxDynError> {
                use jiff_sqlx::ToSqlx;
                <$stored as sqlx::Encode<Postgres>>::encode(self.0.to_sqlx(), buffer)
            }
        }
    };
}

stored_as!(Moment, Timestamp, jiff_sqlx::Timestamp);
stored_as!(Day, jiff::civil::Date, jiff_sqlx::Date);
