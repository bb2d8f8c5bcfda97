//! The whole job in a real browser: from a model file to the finished piece.

mod bench;
mod driver;
mod offline;
mod plan;
mod viewer;
mod presence;
mod stages;
mod taps;
mod walk;
