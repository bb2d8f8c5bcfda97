//! The calculations of a small casting studio.
//!
//! Pure: no network, SQL, clock, files, environment or printing. Everything a
//! function needs is handed in; random numbers come only from a seed handed in.
//! Quantities are typed ([`quantity`]); what is computed for people carries its
//! working ([`working`]) with the source of every constant ([`source`]).

pub mod heat;
pub mod plan;
pub mod promise;
pub mod freeze;
pub mod quantity;
pub mod source;
pub mod mesh;
pub mod shapes;
pub mod working;
pub mod metal;
pub mod investment;
pub mod quote;
pub mod size;
pub mod plate;
pub mod pack;
pub mod fill;
pub mod yields;

mod random;

// Tests within the crate use the makers of problems that the others use.
#[cfg(test)]
extern crate self as foundry;
