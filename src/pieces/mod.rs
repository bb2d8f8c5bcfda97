//! Pieces: what walks through the six stages, attempt by attempt.
//!
//! What happened to a piece is kept as events that are only ever added. What
//! follows from them (stage, standing, the boxes of the route card) is decided
//! in `model.rs`, in one place, and written in the same transaction.

mod actions;
mod card;
mod forms;
mod model;
mod store;
mod swap;
mod undo;
mod view;

pub use actions::{Act, ActFault, Recorded, create_for_order, record};
pub use card::{BoxState, CardBox, Cards, Filter, RouteCard};
pub use forms::{failures, ticked};
pub use model::{Happening, PieceRefusal, Stage, Standing, State};
pub use store::{LockedPiece, lock, lock_by_label};
pub use swap::swap;
pub use undo::{reopen, undo, unfail};
pub use view::{Attempt, attempts, causes};
