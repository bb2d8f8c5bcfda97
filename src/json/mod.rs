//! Written shapes of foundry's inputs and results: the unit stands in every key.

pub mod plan;
pub mod working;
