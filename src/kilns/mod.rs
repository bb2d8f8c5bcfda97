//! Kilns: floors, programmes, the heat line that draws a firing, and the flask inside it.

mod choices;
mod drawing;
mod firing;
mod heat_line;
mod mould;
mod pages;
mod programme;

pub use heat_line::{Axis, HeatLine, heat_line};
pub use mould::{FlaskMeasures, Mould, binder};
pub use programme::{
    SIZE_CLASSES, SegmentKind, SegmentRow, programme_of, set_programme, total_minutes,
};

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new().route(
        "/studio/programmes/{family}/{size}/inside",
        get(pages::inside::show).post(pages::inside::save),
    )
}
