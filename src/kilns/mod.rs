//! Kilns: floors, programmes, and the heat line that draws a firing.

mod heat_line;
mod mould;
mod programme;

pub use heat_line::{Axis, HeatLine, heat_line};
pub use mould::{FlaskMeasures, Mould, binder};
pub use programme::{SegmentKind, SegmentRow, programme_of, total_minutes};
