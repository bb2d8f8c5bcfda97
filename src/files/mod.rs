//! Files kept in the database: models, pictures and photos, each content once.

mod pages;
mod store;

pub use store::{
    ContentStream, Digest, Kept, StoredFile, content, find, forget, put, put_digested, read,
};

use std::fmt;

use axum::Router;
use axum::routing::get;

use crate::id::FileId;
use crate::web::App;

/// The address of a stored file.
#[derive(Clone, Copy, Debug)]
pub struct File(pub FileId);

impl fmt::Display for File {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/files/{}", self.0)
    }
}

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new().route("/files/{id}", get(pages::show))
}

pub use pages::send;
