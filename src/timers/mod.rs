//! Counting clocks that belong to things: a wash, a cure, a print, a mix, a soak.
//!
//! A clock is two moments in the database, so it goes on through a reload of
//! the page and a restart of the program. Its subject is the batch it belongs
//! to, written as everywhere: `cure:31`, `plate:41`, `flask:201`, `load:81`.

mod store;

pub use store::{Timer, end, of, running, start, subject_path};
