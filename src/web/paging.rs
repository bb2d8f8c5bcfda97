//! Long lists in pages, turned by the key of the row at the edge: however deep a page lies, the
//! database reads only its rows, and rows that are added meanwhile move none past the reader.

use std::fmt::Write;

use serde::Deserialize;
use sqlx::postgres::PgRow;
use sqlx::{FromRow, Postgres, QueryBuilder, Row};

use super::format::grouped;
use super::order::Order;

/// What the address of a list asks for, beside what narrows it. Nonsense is the first page.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
pub struct Turned {
    after: Option<String>,
    before: Option<String>,
    last: Option<String>,
    row: Option<String>,
}

impl Turned {
    /// The page that is asked for of a list in an order, shown `size` rows at a time.
    #[must_use]
    pub fn in_order(&self, order: &Order, size: u32) -> Seek {
        let key = |text: &Option<String>| key_of(order, text.as_deref()?);
        let from = match (key(&self.after), key(&self.before), &self.last) {
            (Some(key), ..) => Edge::After(key),
            (_, Some(key), _) => Edge::Before(key),
            (.., Some(_)) => Edge::Last,
            _ => Edge::First,
        };
        let row = self.row.as_deref().and_then(|row| row.parse().ok()).unwrap_or(1);
        Seek { order: *order, size: i64::from(size), from, row }
    }
}

/// Joins the values of a key. Only the first may contain it.
const JOINT: char = '~';

fn key_of(order: &Order, text: &str) -> Option<Vec<String>> {
    let mut values: Vec<String> =
        text.rsplitn(order.terms.len(), JOINT).map(str::to_owned).collect();
    values.reverse();
    let fits = values.len() == order.terms.len()
        && order.terms.iter().zip(&values).all(|(term, value)| term.takes(value));
    fits.then_some(values)
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Edge {
    First,
    After(Vec<String>),
    Before(Vec<String>),
    Last,
}

/// A page of a list: what to ask the database, and how its answer is shown.
#[derive(Debug, Clone)]
pub struct Seek {
    order: Order,
    size: i64,
    from: Edge,
    row: i64,
}

impl Seek {
    /// Only the first `size` rows of an order.
    #[must_use]
    pub fn first(order: &Order, size: i64) -> Self {
        Self { order: *order, size, from: Edge::First, row: 1 }
    }

    /// Rows are read from the end of the list, and turned round afterwards.
    fn backwards(&self) -> bool {
        matches!(self.from, Edge::Before(_) | Edge::Last)
    }

    /// The key of the row at the edge, to be bound where [`Seek::beyond`] says.
    #[must_use]
    pub fn key(&self) -> Option<&[String]> {
        match &self.from {
            Edge::After(key) | Edge::Before(key) => Some(key),
            Edge::First | Edge::Last => None,
        }
    }

    /// The column from which a row's key is read.
    #[must_use]
    pub fn column(&self) -> String {
        let told: Vec<String> = self.order.terms.iter().map(|term| term.told()).collect();
        format!("ARRAY[{}] AS turning_key", told.join(", "))
    }

    fn terms(&self) -> String {
        self.order.terms.iter().map(|term| term.sql).collect::<Vec<_>>().join(", ")
    }

    fn sign(&self) -> char {
        if self.order.falling == self.backwards() { '>' } else { '<' }
    }

    /// The condition that a row lies beyond the edge, the key being bound at a placeholder.
    #[must_use]
    pub fn beyond(&self, placeholder: &str) -> String {
        if self.key().is_none() {
            return format!("{placeholder}::text[] IS NULL");
        }
        let values: Vec<String> = (1..)
            .zip(self.order.terms)
            .map(|(n, term)| {
                let (before, after) = term.around();
                format!("{before}({placeholder}::text[])[{n}]{after}")
            })
            .collect();
        format!("({}) {} ({})", self.terms(), self.sign(), values.join(", "))
    }

    /// Adds the same condition to a query that is being built.
    pub fn push_beyond(&self, query: &mut QueryBuilder<Postgres>) {
        query.push(" AND ");
        let Some(key) = self.key() else {
            query.push("true");
            return;
        };
        query.push(format!("({}) {} (", self.terms(), self.sign()));
        for (n, (term, value)) in self.order.terms.iter().zip(key).enumerate() {
            let (before, after) = term.around();
            query.push(if n == 0 { "" } else { ", " }).push(before);
            query.push_bind(value.clone()).push(after);
        }
        query.push(")");
    }

    /// The end of the query: one row more than is shown tells whether others follow.
    #[must_use]
    pub fn in_order(&self) -> String {
        let way = if self.order.falling == self.backwards() { "ASC" } else { "DESC" };
        let mut sql = " ORDER BY ".to_owned();
        for (n, term) in self.order.terms.iter().enumerate() {
            let joint = if n == 0 { "" } else { ", " };
            let _ = write!(sql, "{joint}{} {way}", term.sql);
        }
        let _ = write!(sql, " LIMIT {}", self.size + 1);
        sql
    }

    /// The page, from the rows found and the number of all rows.
    #[must_use]
    pub fn page<T>(self, mut found: Vec<Keyed<T>>, all: i64) -> Paged<T> {
        let size = usize::try_from(self.size).unwrap_or(usize::MAX);
        let more = found.len() > size;
        found.truncate(size);
        if self.backwards() {
            found.reverse();
        }
        let shown = i64::try_from(found.len()).unwrap_or(i64::MAX);
        // Counted from where the reader came; from the ends it is known.
        let row = match self.from {
            Edge::First => 1,
            Edge::Last => (all - shown).max(0) + 1,
            _ if !more && self.backwards() => 1,
            Edge::After(_) | Edge::Before(_) => self.row.clamp(1, (all - shown).max(0) + 1),
        };
        let sure = !matches!(self.from, Edge::After(_) | Edge::Before(_)) || row == 1;
        let edge = |keyed: Option<&Keyed<T>>| keyed.map(|keyed| keyed.key.join(&JOINT.to_string()));
        let (above, below) = match self.from {
            Edge::First => (false, more),
            Edge::After(_) => (true, more),
            Edge::Before(_) => (more, true),
            Edge::Last => (more, false),
        };
        let turning = Turning {
            row,
            shown,
            all,
            sure,
            before: edge(found.first()).filter(|_| above),
            after: edge(found.last()).filter(|_| below),
            size: self.size,
        };
        // Beyond the end, when the rows that followed went elsewhere meanwhile.
        let lost = found.is_empty() && self.from != Edge::First;
        Paged { rows: found.into_iter().map(|keyed| keyed.row).collect(), turning, lost }
    }
}

/// A row with the key by which its list is turned.
#[derive(Debug, Clone)]
pub struct Keyed<T> {
    row: T,
    key: Vec<String>,
}

impl<'r, T: FromRow<'r, PgRow>> FromRow<'r, PgRow> for Keyed<T> {
    fn from_row(row: &'r PgRow) -> Result<Self, sqlx::Error> {
        Ok(Self { key: row.try_get("turning_key")?, row: T::from_row(row)? })
    }
}

/// The rows of a page, and where they lie in the list.
#[derive(Debug, Clone)]
pub struct Paged<T> {
    /// The rows.
    pub rows: Vec<T>,
    turning: Turning,
    lost: bool,
}

impl<T> Paged<T> {
    /// The way to the other pages of the list at `base` (an address that may already carry a query).
    #[must_use]
    pub fn links(&self, base: &str) -> PageLinks {
        PageLinks { turning: self.turning.clone(), lost: self.lost, base: base.to_owned() }
    }

    /// How many rows there are on all pages.
    #[must_use]
    pub const fn all(&self) -> i64 {
        self.turning.all
    }
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Turning {
    row: i64,
    shown: i64,
    all: i64,
    sure: bool,
    before: Option<String>,
    after: Option<String>,
    size: i64,
}

/// The way to the other pages of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PageLinks {
    turning: Turning,
    lost: bool,
    base: String,
}

impl PageLinks {
    /// An address with a query of the fields that are not empty.
    #[must_use]
    pub fn base(path: &str, fields: &[(&str, &str)]) -> String {
        let mut out = path.to_owned();
        for (name, value) in fields.iter().filter(|(_, value)| !value.is_empty()) {
            out.push(if out.contains('?') { '&' } else { '?' });
            out.push_str(name);
            out.push('=');
            out.push_str(&crate::web::form::percent(value));
        }
        out
    }

    /// Whether there is any other page.
    #[must_use]
    pub const fn any(&self) -> bool {
        self.lost || self.turning.before.is_some() || self.turning.after.is_some()
    }

    /// Where the page lies, such as `Rows 41 to 80 of 812`.
    #[must_use]
    pub fn words(&self) -> String {
        let Turning { row, shown, all, sure, .. } = self.turning;
        let told = |n: i64| grouped(&n.to_string());
        if shown == 0 {
            return format!("Nothing more here, {} in all", told(all));
        }
        let about = if sure { "Rows" } else { "About rows" };
        format!("{about} {} to {} of {}", told(row), told(row + shown - 1), told(all))
    }

    /// The address of the first page, unless it is shown.
    #[must_use]
    pub fn first(&self) -> Option<String> {
        (self.lost || self.turning.before.is_some()).then(|| self.base.clone())
    }

    /// The address of the page before this one.
    #[must_use]
    pub fn previous(&self) -> Option<String> {
        let row = (self.turning.row - self.turning.size).max(1).to_string();
        let key = self.turning.before.as_deref()?;
        Some(Self::base(&self.base, &[("before", key), ("row", &row)]))
    }

    /// The address of the page after this one.
    #[must_use]
    pub fn next(&self) -> Option<String> {
        let row = (self.turning.row + self.turning.shown).to_string();
        let key = self.turning.after.as_deref()?;
        Some(Self::base(&self.base, &[("after", key), ("row", &row)]))
    }

    /// The address of the last page, unless it is shown.
    #[must_use]
    pub fn last(&self) -> Option<String> {
        let more = self.lost || self.turning.after.is_some();
        more.then(|| Self::base(&self.base, &[("last", "yes")]))
    }
}

/// What the address of a list of things under way and of old asks for.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Listed {
    #[serde(default)]
    search: String,
    #[serde(default)]
    show: String,
    #[serde(flatten)]
    turned: Turned,
}

impl Listed {
    /// Whether those under way are asked for, and not those of old.
    #[must_use]
    pub fn open(&self) -> bool {
        self.show != "old" && self.show != "ended"
    }

    /// What is searched for; empty for everything.
    #[must_use]
    pub fn search(&self) -> &str {
        self.search.trim()
    }

    /// The page that is asked for.
    #[must_use]
    pub fn turned(&self) -> &Turned {
        &self.turned
    }

    /// The address of the list at `place` as it is narrowed.
    #[must_use]
    pub fn base(&self, place: &str) -> String {
        PageLinks::base(place, &[("search", self.search()), ("show", &self.show)])
    }
}

#[cfg(test)]
mod tests {
    use super::super::order::Term;
    use super::*;

    const ORDER: Order =
        Order { terms: &[Term::words("lower(c.name)"), Term::number("c.n")], falling: false };

    fn turned(after: &str) -> Turned {
        Turned { after: Some(after.to_owned()), ..Turned::default() }
    }

    #[test]
    fn a_key_with_the_joint_in_its_words_is_read_back() {
        let seek = turned("a~b ~ c~17").in_order(&ORDER, 10);
        assert_eq!(seek.key().unwrap(), ["a~b ~ c", "17"]);
        assert_eq!(
            seek.beyond("$3"),
            "(lower(c.name), c.n) > ((($3::text[])[1]), (($3::text[])[2])::bigint)"
        );
    }

    #[test]
    fn nonsense_is_the_first_page() {
        for text in ["", "~", "a~b", "a~1e9", "17", "a\0~17", "a~99999999999999999999"] {
            let seek = turned(text).in_order(&ORDER, 10);
            assert_eq!(seek.key(), None, "{text:?}");
            assert_eq!(seek.beyond("$1"), "$1::text[] IS NULL");
        }
    }

    #[test]
    fn pages_before_an_edge_are_read_the_other_way_round() {
        let before = Turned {
            before: Some("a~1".to_owned()),
            row: Some("11".to_owned()),
            ..Turned::default()
        };
        let seek = before.in_order(&ORDER, 2);
        assert_eq!(seek.in_order(), " ORDER BY lower(c.name) DESC, c.n DESC LIMIT 3");
        let keyed = |n: i32| Keyed { row: n, key: vec!["a".to_owned(), n.to_string()] };
        let page = seek.page(vec![keyed(9), keyed(8), keyed(7)], 40);
        assert_eq!(page.rows, [8, 9]);
        let links = page.links("/things?show=old");
        assert_eq!(links.words(), "About rows 11 to 12 of 40");
        assert_eq!(links.previous().unwrap(), "/things?show=old&before=a~8&row=9");
        assert_eq!(links.next().unwrap(), "/things?show=old&after=a~9&row=13");
        assert_eq!(links.last().unwrap(), "/things?show=old&last=yes");
    }
}
