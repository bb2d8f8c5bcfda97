//! Written shapes of foundry's inputs and results: the unit stands in every key.

pub mod burnout;
pub mod examined;
pub mod feed;
pub mod measure;
pub mod plan;
pub mod plate;
pub mod tree;
pub mod working;
