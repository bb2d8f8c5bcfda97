//! The studio itself: its settings, hours and rates, and who is there when.

mod presence;
mod settings;
mod week;

pub use presence::{Absence, Away, Presence};
pub use settings::{Settings, found};
pub use week::{Stretches, Week};
