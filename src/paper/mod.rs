//! Papers: one design for everything the studio hands out, written as PDF with embedded fonts.
//!
//! A paper is told as blocks; [`pdf`] lays them out on pages and tags them (PDF/UA-1, ISO 14289-1),
//! so that a screen reader reads headings, tables and cells as such.

mod draw;
mod fonts;
mod layout;

pub use draw::pdf;

use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};

/// The sheet that the studio prints on.
pub async fn size_of(db: impl sqlx::PgExecutor<'_>) -> Result<Size, sqlx::Error> {
    let name: String = sqlx::query_scalar("SELECT paper FROM invoicing").fetch_one(db).await?;
    Ok(Size::named(&name))
}

/// Sends a paper to the browser, under the name that it is saved by.
#[must_use]
pub fn answer(name: &str, bytes: Vec<u8>) -> Response {
    let kept: String = name
        .chars()
        .filter(|letter| letter.is_ascii_alphanumeric() || "-.".contains(*letter))
        .collect();
    let place = HeaderValue::from_str(&format!("inline; filename=\"{kept}\""))
        .unwrap_or(HeaderValue::from_static("inline"));
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static("application/pdf")),
        (header::CONTENT_DISPOSITION, place),
    ];
    (headers, bytes).into_response()
}

/// The size of a sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// 210 × 297 mm (ISO 216).
    A4,
    /// 8.5 × 11 inches (ANSI/ASME Y14.1, size A).
    Letter,
}

impl Size {
    /// By the word that is kept for it.
    #[must_use]
    pub fn named(name: &str) -> Self {
        if name == "letter" { Self::Letter } else { Self::A4 }
    }

    /// Width and height in points of 1/72 inch.
    #[must_use]
    pub fn points(self) -> (f32, f32) {
        match self {
            Self::A4 => (210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0),
            Self::Letter => (612.0, 792.0),
        }
    }
}

/// A paper before it is laid out.
#[derive(Clone, Debug)]
pub struct Paper {
    /// The sheet.
    pub size: Size,
    /// Whose it is; stands at the head.
    pub studio: String,
    /// What it is: `Invoice 12`. Stands at the head and at the foot of every page.
    pub title: String,
    /// What it says, from top to bottom.
    pub blocks: Vec<Block>,
}

/// A part of a paper.
#[derive(Clone, Debug)]
pub enum Block {
    /// From whom, which stands in the letterhead when this comes first, and for whom.
    Parties {
        /// On the left, the first line in bold.
        left: Vec<String>,
        /// On the right.
        right: Vec<String>,
    },
    /// A heading within the paper.
    Heading(String),
    /// A paragraph; line breaks stay.
    Text(String),
    /// A paragraph in small print.
    Small(String),
    /// Names with what they are.
    Facts(Vec<(String, String)>),
    /// A table.
    Table(Table),
    /// A table that is read from a metre away.
    Board(Table),
    /// A route card: each stage with what is written in its box.
    Route(Vec<(String, String)>),
    /// Sums at the right; the last is the total. The last rows of a table above go along with them.
    Sums(Vec<(String, String)>),
    /// A caution in a frame.
    Caution(String),
    /// A square code that a camera reads, row by row, with what it says.
    Code {
        /// Which squares are black.
        modules: Vec<Vec<bool>>,
        /// What it says.
        words: String,
    },
    /// One figure that can be read from a metre away, with its name.
    Large(String, String),
}

/// A table whose head is repeated on every page.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// The columns.
    pub columns: Vec<Column>,
    /// The cells, as many in a row as there are columns.
    pub rows: Vec<Vec<String>>,
}

/// A column of a table.
#[derive(Clone, Debug)]
pub struct Column {
    /// Its head.
    pub name: String,
    /// Its share of the width; the others' shares are for the same sum.
    pub width: f32,
    /// Figures, set to the right.
    pub figures: bool,
}

impl Column {
    /// A column of words.
    #[must_use]
    pub fn words(name: &str, width: f32) -> Self {
        Self { name: name.to_owned(), width, figures: false }
    }

    /// A column of figures.
    #[must_use]
    pub fn figures(name: &str, width: f32) -> Self {
        Self { name: name.to_owned(), width, figures: true }
    }
}

/// Why a paper could not be written.
#[derive(Debug, thiserror::Error)]
pub enum PaperFault {
    /// A font that the program carries could not be read.
    #[error("a font of the program cannot be read")]
    Font,
    /// The PDF could not be written.
    #[error("the PDF could not be written: {0}")]
    Pdf(String),
}
