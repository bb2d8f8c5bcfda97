//! Kilns: floors, programmes, the heat line that draws a firing, and the flask inside it.

mod asked;
mod chart;
mod choices;
mod contents;
mod drawing;
mod editor;
mod firing;
mod heat_line;
mod kiln;
mod known_lines;
mod mould;
mod pages;
mod programme;
mod slow;

pub use chart::{Chart, Curve, daylight};
pub use contents::{FilledFlask, as_many, inside};
pub use heat_line::{Axis, HeatLine, Inside};
pub use kiln::{KilnFacts, NewFit, TakenFit, drop_fit, fits_of, take_fit};
pub use known_lines::{heat_lines, longer_minutes};
pub use mould::{FlaskMeasures, Mould, binder};
pub use programme::{
    SIZE_CLASSES, SegmentKind, SegmentRow, as_run, programme_of, set_programme, total_minutes,
};
pub use slow::Slow;

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/studio/programmes/build", get(pages::build::show).post(pages::build::save))
        .route(
            "/studio/programmes/{family}/{size}",
            get(pages::inside::to_inside).post(pages::inside::set),
        )
        .route(
            "/studio/programmes/{family}/{size}/inside",
            get(pages::inside::show).post(pages::inside::save),
        )
        .route("/studio/programmes/{family}/{size}/inside/redraw", get(pages::parts::redraw))
        .route("/studio/programmes/{family}/{size}/inside/section", get(pages::parts::section))
}
