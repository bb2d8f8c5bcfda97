//! Shapes whose truth is known beforehand, and what Pourday says of each: anybody can see how far
//! its answers are to be trusted.

mod bench;
mod page;
mod shapes;
mod view;

use std::fmt;

use axum::Router;
use axum::routing::get;

use crate::jobs;
use crate::web::App;

/// The page of known shapes.
#[derive(Clone, Copy, Debug)]
pub struct KnownShapes;

impl fmt::Display for KnownShapes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/designs/known")
    }
}

/// The page of this capability.
pub fn router() -> Router<App> {
    Router::new().route("/designs/known", get(page::show).post(page::ask))
}

/// The kind of job that this capability does.
#[must_use]
pub fn kinds() -> Vec<jobs::Kind> {
    vec![jobs::Kind {
        name: bench::KIND,
        handler: |app, input, watch| Box::pin(bench::run(app, input, watch)),
    }]
}
