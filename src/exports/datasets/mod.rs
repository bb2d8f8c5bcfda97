//! What can be exported: each data set with its columns. The page that describes the columns and
//! the files that have them are made from this one table, so they cannot differ.
//!
//! Columns keep their names, their order and their meaning; new ones are added at the end.

mod bench;
mod house;
mod money;
mod offers;
mod studio;
mod work;

/// What the cells of a column hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Words.
    Text,
    /// A figure, with every digit that is kept.
    Number,
    /// A day, `2026-11-25`.
    Day,
    /// A moment in UTC, `2026-11-25T09:00:00Z`.
    Moment,
    /// `true` or `false`.
    Flag,
}

impl Kind {
    /// The word for it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::Number => "number",
            Self::Day => "day",
            Self::Moment => "moment",
            Self::Flag => "true or false",
        }
    }
}

/// A column.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// Its name, which stays.
    pub name: &'static str,
    /// What its cells hold.
    pub kind: Kind,
    pub(in crate::exports) sql: &'static str,
    /// What it is.
    pub meaning: &'static str,
}

/// A data set.
#[derive(Clone, Copy, Debug)]
pub struct Dataset {
    /// The name of its file.
    pub name: &'static str,
    /// What it is called.
    pub title: &'static str,
    /// What is in it.
    pub about: &'static str,
    pub(super) from: &'static str,
    pub(super) order: &'static str,
    /// Its columns.
    pub columns: &'static [Column],
}

impl Dataset {
    /// Its rows with every cell as text, in no order and not narrowed yet.
    pub fn cells(&self) -> String {
        let cells: Vec<String> = self
            .columns
            .iter()
            .map(|column| match column.kind {
                Kind::Moment => format!(
                    "to_char(({}) AT TIME ZONE 'UTC', 'YYYY-MM-DD\"T\"HH24:MI:SS\"Z\"')",
                    column.sql
                ),
                _ => format!("({})::text", column.sql),
            })
            .collect();
        format!("SELECT {} {}", cells.join(", "), self.from)
    }

    /// The query for all its rows.
    pub(in crate::exports) fn sql(&self) -> String {
        format!("{} ORDER BY {}", self.cells(), self.order)
    }
}

impl Column {
    /// What it is in the database.
    pub fn sql(&self) -> &'static str {
        self.sql
    }
}

pub(super) const fn column(
    name: &'static str,
    kind: Kind,
    sql: &'static str,
    meaning: &'static str,
) -> Column {
    Column { name, kind, sql, meaning }
}

/// Every data set.
pub fn datasets() -> impl Iterator<Item = &'static Dataset> {
    [studio::SETS, house::SETS, work::SETS, bench::SETS, offers::SETS, money::SETS]
        .into_iter()
        .flatten()
}
