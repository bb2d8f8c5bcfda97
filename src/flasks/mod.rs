//! Flasks: a steel cylinder, the tree that stands in it, its investment and bench set.
//!
//! A flask row is one filling: it is treed, weighed, mixed for, left to set,
//! burnt out, poured and divested. Kiln loads and pours move it through the
//! functions offered here; nobody else writes its tables.

mod actions;
mod arrange;
mod divest;
mod forms;
mod lost;
mod map;
mod mixing;
mod model;
mod pages;
mod store;
mod view;

pub use actions::move_on;
pub use divest::unpour;
pub use model::{FlaskState, work_out};
pub(crate) use pages::steps::{step, unread};
pub use store::{back_into_load, pieces_of};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/flasks", get(pages::list::show).post(pages::new::submit))
        .route("/flasks/new", get(pages::new::show))
        .route("/flasks/propose", get(pages::propose::show).post(pages::propose::submit))
        .route("/flasks/mix", get(mixing::mix::show))
        .route("/flasks/mix/start", post(mixing::mix::start))
        .route("/mixes/{number}", get(mixing::guide::show))
        .route("/mixes/{number}/set", post(mixing::guide::set))
        .route("/studio/mixing", get(mixing::bowl::show).post(mixing::bowl::set))
        .route("/studio/mixing/lots", post(mixing::bowl::add_lot))
        .route("/studio/mixing/lots/{lot}/{what}", post(mixing::bowl::mark_lot))
        .route("/flasks/{number}", get(pages::show::show))
        .route("/flasks/{number}/sheet", get(pages::sheet::show))
        .route("/flasks/{number}/sheet.pdf", get(pages::sheet::pdf))
        .route("/flasks/{number}/pieces", post(pages::tree::add))
        .route("/flasks/{number}/take-off", post(pages::tree::take_off))
        .route("/flasks/{number}/place", post(pages::tree::place))
        .route("/flasks/{number}/arrange", post(pages::tree::arrange))
        .route("/flasks/{number}/move", post(pages::tree::move_piece))
        .route("/flasks/{number}/weigh", post(pages::steps::weigh))
        .route("/flasks/{number}/mix", post(pages::steps::mix))
        .route("/flasks/{number}/set", post(pages::steps::set))
        .route("/flasks/{number}/divest", post(pages::steps::divest))
        .route("/flasks/{number}/take-back", post(pages::steps::take_back))
        .route("/flasks/{number}/cancel", post(pages::steps::cancel))
        .route("/flasks/{number}/lost", post(pages::steps::lost))
        .route("/flasks/{number}/found", post(pages::steps::found))
        .route("/flasks/{number}/undivest", post(pages::steps::undivest))
}
