//! What a studio sets once and seldom changes: kilns, flask types, alloys,
//! investments, programme families. Each is a table of its own with checks of
//! its own; what they have in common (a list, a form, retiring) is told here
//! once, from a description of their columns.

mod entry;
mod pages;
mod store;

pub use entry::{Catalogue, Column, Field, all};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    let mut router = Router::new().route(
        "/studio/incompatible",
        get(pages::incompatible::show).post(pages::incompatible::submit),
    );
    for catalogue in all() {
        let base = catalogue.path();
        let each = format!("{base}/{{id}}");
        router = router
            .route(
                &base,
                get(move |app, owner| pages::list::show(catalogue, app, owner))
                    .post(move |app, owner, form| pages::entry::add(catalogue, app, owner, form)),
            )
            .route(
                &format!("{base}/new"),
                get(move |app, owner, query| pages::entry::new(catalogue, app, owner, query)),
            )
            .route(
                &each,
                get(move |app, owner, id| pages::entry::show(catalogue, app, owner, id)).post(
                    move |app, owner, id, form| {
                        pages::entry::change(catalogue, app, owner, id, form)
                    },
                ),
            )
            .route(
                &format!("{each}/retire"),
                post(move |app, owner, id, form| {
                    pages::entry::retire(catalogue, app, owner, id, form)
                }),
            );
    }
    router
}
