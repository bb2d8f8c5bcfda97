//! Long lists in pages.

use serde::Deserialize;

/// Which page of a list is asked for; pages count from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(transparent)]
pub struct Page(u32);

impl Default for Page {
    fn default() -> Self {
        Self(1)
    }
}

impl Page {
    /// Reads the number of a page; nonsense is the first page.
    #[must_use]
    pub fn of(text: Option<&str>) -> Self {
        Self(text.and_then(|n| n.parse().ok()).unwrap_or(1).clamp(1, 1_000_000))
    }

    /// How many rows come before it.
    #[must_use]
    pub fn offset(self, size: u32) -> i64 {
        i64::from(self.0.max(1) - 1) * i64::from(size)
    }
}

/// What the address of a list of things under way and of old asks for.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Listed {
    #[serde(default)]
    search: String,
    #[serde(default)]
    show: String,
    page: Option<String>,
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

    /// How many rows come before the page, shown `size` at a time.
    #[must_use]
    pub fn offset(&self, size: u32) -> i64 {
        Page::of(self.page.as_deref()).offset(size)
    }

    /// The way to the other pages of the list at `place`, which has so many rows.
    #[must_use]
    pub fn links(&self, place: &str, size: u32, rows: i64) -> PageLinks {
        let base = PageLinks::base(place, &[("search", self.search()), ("show", &self.show)]);
        PageLinks::new(Page::of(self.page.as_deref()), size, rows, &base)
    }
}

/// The way to the other pages of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PageLinks {
    /// The page shown.
    pub page: u32,
    /// How many there are; at least one.
    pub pages: u32,
    /// Rows in the whole list.
    pub rows: i64,
    base: String,
}

impl PageLinks {
    /// For a list of `rows`, shown `size` at a time, at `base` (an address that
    /// may already carry a query).
    #[must_use]
    pub fn new(page: Page, size: u32, rows: i64, base: &str) -> Self {
        let pages = u32::try_from(rows.max(0)).unwrap_or(u32::MAX).div_ceil(size.max(1)).max(1);
        Self { page: page.0.max(1), pages, rows, base: base.to_owned() }
    }

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

    /// The address of page `n`.
    #[must_use]
    pub fn to(&self, n: u32) -> String {
        let joint = if self.base.contains('?') { '&' } else { '?' };
        format!("{}{joint}page={n}", self.base)
    }

    /// The address of the page before this one.
    #[must_use]
    pub fn earlier(&self) -> Option<String> {
        (self.page > 1).then(|| self.to(self.page.min(self.pages + 1) - 1))
    }

    /// The address of the page after this one.
    #[must_use]
    pub fn later(&self) -> Option<String> {
        (self.page < self.pages).then(|| self.to(self.page + 1))
    }
}
