//! Durations. Calendars and time zones end at the edge of this crate.

use super::{amounts, quantity};

quantity!(
    /// A duration, or a point counted from a stated zero.
    Minutes, "a time", "min", -1.0e8, 1.0e8
);
amounts!(Minutes);

quantity!(
    /// A short duration.
    Seconds, "a time", "s", -1.0e10, 1.0e10
);
amounts!(Seconds);

impl Minutes {
    /// The same duration in seconds.
    #[must_use]
    pub fn seconds(self) -> Seconds {
        Seconds(self.0 * 60.0)
    }

    /// The duration in hours.
    #[must_use]
    pub fn hours(self) -> f64 {
        self.0 / 60.0
    }
}

impl Seconds {
    /// The same duration in minutes.
    #[must_use]
    pub fn minutes(self) -> Minutes {
        Minutes(self.0 / 60.0)
    }
}
