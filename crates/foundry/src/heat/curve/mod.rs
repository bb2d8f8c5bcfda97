//! Measured firings: a controller's log read, held against the plan, and used to fit the kiln.
//!
//! Times are minutes from the first line. Clock stamps are taken as the wall clock of one place;
//! there are no time zones here, and an hour that the clock was put forward or back is named.

mod columns;
mod compare;
mod fit;
mod measured;
mod note;
mod read;
mod stamp;
mod table;

pub use columns::{Column, Role, Scale, TimeForm};
pub use compare::{Comparison, Deviation, Event, compare};
pub use fit::{KilnFit, fit_kiln};
pub use measured::{MeasuredCurve, MeasuredPoint};
pub use note::{CurveRefusal, ReadNote};
pub use read::{ReadCurve, ReadOptions, columns, read};
