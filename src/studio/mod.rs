//! The studio itself: its settings, hours and rates.

mod settings;

pub use settings::{Settings, Week, found};
