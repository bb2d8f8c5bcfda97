//! A studio to try: invented people, invented orders, two months of history.
//!
//! The demo is not written into the tables: hands open the program's pages and
//! fill in its forms, with the clock set back and moved forward. So it holds
//! nothing that could not have come about, and whatever refuses a person would
//! have refused it.

mod bench;
mod book;
mod calendar;
mod dice;
mod finish;
mod fire;
mod hands;
mod history;
mod logs;
mod markup;
mod orders;
mod papers;
mod pictures;
mod present;
mod print;
mod story;
mod workshop;

use axum::http::StatusCode;
use rand::Rng;
use sqlx::PgPool;

use crate::clock::{Clock, Moment};
use crate::people::PasswordRefusal;

/// The demo studio's name.
pub const STUDIO: &str = "Harrow Lane Castings";
/// The owner's name to sign in with.
pub const LOGIN: &str = "maren";

/// Why the demo studio could not be made.
#[derive(Debug, thiserror::Error)]
pub enum DemoFault {
    /// The program turned down what the hands did.
    #[error("the demo's {path} was turned down with {status}: {message}")]
    Refused {
        /// Which address.
        path: String,
        /// The answer's status.
        status: StatusCode,
        /// The messages on the page.
        message: String,
    },
    /// A page lacks the form that was to be filled in.
    #[error("the page {page} has no form that goes to {action}")]
    NoForm {
        /// Which page.
        page: String,
        /// Where the form was to go.
        action: String,
    },
    /// Something that should be there is not.
    #[error("the demo did not find {0}")]
    Missing(String),
    /// The database failed.
    #[error("the database did not answer as expected: {0}")]
    Database(#[from] sqlx::Error),
    /// The password was not taken.
    #[error(transparent)]
    Password(#[from] PasswordRefusal),
    /// Something else broke.
    #[error("{0}")]
    Broken(String),
}

/// Whether the database holds a studio already.
pub async fn is_founded(pool: &PgPool) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar("SELECT EXISTS (SELECT 1 FROM studio)").fetch_one(pool).await
}

/// The password of a finished demo; the demo shows it at every start, so it is kept as it is.
pub async fn password(pool: &PgPool) -> Result<Option<String>, sqlx::Error> {
    let kept: Option<Vec<u8>> =
        sqlx::query_scalar("SELECT value FROM secrets WHERE name = 'demo_password'")
            .fetch_optional(pool)
            .await?;
    Ok(kept.map(|bytes| String::from_utf8_lossy(&bytes).into_owned()))
}

/// A password of three words and a number.
#[must_use]
pub fn made_up_password() -> String {
    const WORDS: [&str; 16] = [
        "amber", "anvil", "beeswax", "borax", "crucible", "ember", "file", "flask", "ingot",
        "loupe", "mandrel", "pickle", "quench", "sprue", "tongs", "vise",
    ];
    let mut random = rand::rng();
    let mut word = || WORDS[random.random_range(0..WORDS.len())];
    let (one, two, three) = (word(), word(), word());
    format!("{one}-{two}-{three}-{}", random.random_range(100..1000))
}

/// Founds the demo studio in an empty, migrated database and lets two months pass
/// in it, up to now. `tell` hears what is being done. A studio whose story breaks off is opened
/// all the same, with what there is; why it broke off is returned.
pub async fn make(
    pool: &PgPool,
    now: Moment,
    password: &str,
    tell: impl Fn(&str),
) -> Result<Option<DemoFault>, DemoFault> {
    let clock = Clock::set_at(now);
    let app = crate::server::open(pool.clone(), clock, false).await?;
    let router = crate::server::router(app.clone());
    let broke_off = story::tell(&app, router, now, password, tell).await?;
    sqlx::query("INSERT INTO secrets (name, value) VALUES ('demo_password', $1)")
        .bind(password.as_bytes())
        .execute(pool)
        .await?;
    Ok(broke_off)
}
