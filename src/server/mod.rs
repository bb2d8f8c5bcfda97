//! Puts the capabilities together and serves them.

mod router;
mod start;

pub use router::router;
pub use start::{Config, StartFault, kinds, open, serve};
