//! Metal: where every centigram is. A ledger in double entry that always balances.

mod actions;
mod bench;
mod entries;
mod forms;
mod fumes;
mod ledger;
mod lots;
mod losses;
mod melt;
mod model;
mod own;
mod pages;
mod paths;
mod statement;
mod stock;
mod store;
mod trace;
mod usual;
mod view;

pub use bench::{leave_bench, leave_bench_to};
pub use fumes::{Fume, fumes, fumes_of};
pub use ledger::{Entry, Stock, balances, held, post, reverse, standing_entry};
pub use lots::{Chosen, LotLeft, ReturnsLeft, lots_left, returns_left, take_fresh, take_returns};
pub use melt::marks_of;
pub use model::{Account, Kind, MetalRefusal, Move};
pub use own::{Drawer, check_drawer, drawers, open_with, owner_of, returns_of};
pub use paths::{
    AccountEntries, Buy, CountPage, EntriesPage, EntryPage, FinePage, LossesPage, LotPage,
    MeltPage, MetalPage, OfAlloy, OfClient, OfFlask, OwnPage,
};

use axum::Router;
use axum::routing::{get, post as posted};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/metal", get(pages::stock::show))
        .route("/metal/losses", get(pages::losses::show))
        .route("/metal/buy", get(pages::buy::show).post(pages::buy::submit))
        .route("/metal/count", get(pages::count::show).post(pages::count::submit))
        .route("/metal/fine/{symbol}", get(pages::fine::show))
        .route("/metal/alloys/{id}/refined", posted(pages::alloy::refined))
        .route("/metal/melt", get(pages::melt::show).post(pages::melt::submit))
        .route("/metal/clients", get(pages::clients::show))
        .route("/metal/clients/{id}", get(pages::client::show))
        .route("/metal/clients/{id}/pdf", get(pages::client_paper::pdf))
        .route("/metal/clients/{id}/receive", posted(pages::client::receive))
        .route("/metal/clients/{id}/give-back", posted(pages::client::give_back))
        .route("/metal/clients/{id}/settle", posted(pages::client::settle))
        .route("/metal/entries", get(pages::entries::show))
        .route("/metal/entries/{id}", get(pages::entry::show).post(pages::entry::take_back))
        .route("/metal/lots/{id}", get(pages::lot::show))
        .route("/metal/flasks/{number}", get(pages::origin::of_flask))
        .route("/metal/pieces/{label}", get(pages::origin::of_piece))
        .route("/metal/alloys/{id}", get(pages::alloy::show))
        .route("/metal/alloys/{id}/count", posted(pages::alloy::count))
        .route("/metal/alloys/{id}/refine", posted(pages::alloy::refine))
}
