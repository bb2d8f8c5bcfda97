//! Models to try things on: pieces of an invented studio, plain solids, and faults.
//!
//! The solids have volumes known in closed form, the pieces look like what a studio
//! casts, and the faults are those that real files have.

mod fault;
mod field;
mod lathe;
mod nets;
mod piece;
pub mod solid;

pub use fault::Fault;
pub use field::Field;
pub use lathe::{Lathe, Turn};
pub use nets::{NetsRefusal, net};
pub use piece::Piece;
