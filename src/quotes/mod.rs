//! Quotes: what an order must cost, sent to the client version by version.

mod abroad;
mod actions;
mod actual;
mod bought;
mod changes;
mod choices;
mod compare;
mod content;
mod defaults;
mod electricity;
mod inputs;
mod link;
mod missing;
mod pages;
mod paths;
mod reckon;
mod starts;
mod store;
mod sure;
mod told;
mod totals;
mod view;
mod words;
mod work;
mod workshop;

pub use changes::{Change, for_client};
pub use choices::{Choice, ChosenLine, MetalRule};
pub use content::{Amounts, Content, Exchange, Line, LineTax, TaxSum};
pub use link::{LINK_DAYS, LinkRow, find_link, path_of};
pub(crate) use pages::quote::{Sending, page as quote_page};
pub use paths::{PriceOrder, Quotes};
pub use store::{Answered, SentQuote, accept, decline, lock_sent, note_opened};
pub use view::{QuoteRow, on_day, sent_before, standing};
pub use words::half_unit;

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/orders/{number}/price", get(pages::price::show).post(pages::price::save))
        .route("/orders/{number}/price/preview", post(pages::price::preview))
        .route("/orders/{number}/quotes", get(pages::quotes::show))
        .route("/orders/{number}/quotes/actual", get(pages::actual::show))
        .route("/orders/{number}/quotes/actual/take", post(pages::actual::take))
        .route("/orders/{number}/quotes/actual/{change}/back", post(pages::actual::give_back))
        .route("/orders/{number}/quotes/{n}", get(pages::quote::show))
        .route("/orders/{number}/link", post(pages::quotes::new_link))
        .route("/orders/{number}/link/revoke", post(pages::quotes::revoke_link))
}
