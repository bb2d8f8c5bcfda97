//! By what the rows of a long list are sorted, and the key that a row has in that order.

use uuid::Uuid;

/// What a row is sorted by.
#[derive(Clone, Copy, Debug)]
pub struct Term {
    /// An SQL expression that is never null.
    pub(super) sql: &'static str,
    kind: Kind,
}

#[derive(Clone, Copy, Debug)]
enum Kind {
    Number,
    Moment,
    Words,
    Id,
}

impl Term {
    /// A whole number.
    #[must_use]
    pub const fn number(sql: &'static str) -> Self {
        Self { sql, kind: Kind::Number }
    }

    /// A moment.
    #[must_use]
    pub const fn moment(sql: &'static str) -> Self {
        Self { sql, kind: Kind::Moment }
    }

    /// Words; only the first term of an order may be such.
    #[must_use]
    pub const fn words(sql: &'static str) -> Self {
        Self { sql, kind: Kind::Words }
    }

    /// An id, which makes an order whole.
    #[must_use]
    pub const fn id(sql: &'static str) -> Self {
        Self { sql, kind: Kind::Id }
    }

    /// What stands in the key of a row. Moments are microseconds, so that nothing is rounded.
    pub(super) fn told(self) -> String {
        match self.kind {
            Kind::Moment => format!("(extract(epoch FROM {}) * 1000000)::bigint::text", self.sql),
            _ => format!("({})::text", self.sql),
        }
    }

    /// What stands before and after the text from which its value is read again.
    pub(super) const fn around(self) -> (&'static str, &'static str) {
        match self.kind {
            Kind::Number => ("(", ")::bigint"),
            Kind::Moment => ("(timestamptz 'epoch' + (", ")::bigint * interval '1 microsecond')"),
            Kind::Words => ("(", ")"),
            Kind::Id => ("(", ")::uuid"),
        }
    }

    /// Whether the database will be able to read it.
    pub(super) fn takes(self, text: &str) -> bool {
        /// The year 5138 in microseconds, or a number larger than any.
        const MOST: u64 = 100_000_000_000_000_000;
        match self.kind {
            Kind::Number | Kind::Moment => {
                text.parse::<i64>().is_ok_and(|n| n.unsigned_abs() < MOST)
            }
            Kind::Words => !text.contains('\0'),
            Kind::Id => text.parse::<Uuid>().is_ok(),
        }
    }
}

/// The order of a list: its terms tell any two rows apart, and all run the same way.
#[derive(Clone, Copy, Debug)]
pub struct Order {
    /// What rows are sorted by, the coarsest first.
    pub terms: &'static [Term],
    /// Whether the greatest comes first.
    pub falling: bool,
}
