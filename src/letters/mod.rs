//! Letters: e-mail to clients, written from templates, looked through by a person, and sent by
//! the studio's own server through an outbox that forgets nothing.

mod actions;
mod deliver;
mod forms;
mod kinds;
mod message;
mod pages;
mod paths;
mod post;
mod store;
mod template;
mod view;

pub use deliver::{deliver_due, deliver_for_ever};
pub use paths::Letters;

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// Seals the mail server's password where it lies in clear from before there was a key.
pub async fn seal_kept_password(app: &App) -> Result<(), sqlx::Error> {
    if store::seal_kept(&app.pool, &app.vault).await? {
        tracing::info!("the password of the mail server is sealed now");
    }
    Ok(())
}

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/letters", get(pages::list::show).post(pages::list::write))
        .route("/orders/{number}/quotes/{n}/send", post(pages::quote::send))
        .route("/letters/{id}", get(pages::show::show).post(pages::show::save))
        .route("/letters/{id}/send", post(pages::show::send))
        .route("/letters/{id}/throw-away", post(pages::show::throw_away))
        .route("/letters/{id}/message.eml", get(pages::show::message))
        .route("/studio/letters", get(pages::templates::list))
        .route("/studio/letters/{kind}", get(pages::templates::show).post(pages::templates::save))
        .route("/studio/letters/{kind}/preview", post(pages::templates::preview))
        .route("/studio/letters/{kind}/reset", post(pages::templates::reset))
        .route("/studio/post-office", get(pages::post_office::show).post(pages::post_office::save))
}
