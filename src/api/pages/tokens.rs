//! Tokens: made, shown once, revoked.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use rand::RngCore;
use serde_json::json;
use uuid::Uuid;

use super::webhooks::EVENTS;
use crate::api::guard::A_MINUTE;
use crate::api::resources::scopes;
use crate::api::store::{self, TokenListRow, WebhookRow};
use crate::audit;
use crate::db::once::{self, Begun};
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame, see_other};

/// The address of the page.
pub(in crate::api) const PLACE: &str = "/studio/api";

#[derive(Template, WebTemplate)]
#[template(path = "api/index.html")]
pub(crate) struct ApiPage {
    frame: Frame,
    tokens: Vec<TokenListRow>,
    scopes: Vec<(String, String)>,
    webhooks: Vec<WebhookRow>,
    /// A secret that has just been made; it is shown this once.
    fresh: Option<(&'static str, String)>,
    form: Form,
    hook: Form,
}

impl ApiPage {
    fn ticked(&self, form: &Form, name: &str, value: &str) -> bool {
        form.all(name).any(|ticked| ticked == value)
    }
}

pub(in crate::api) async fn page(
    app: &App,
    signed: &Signed,
    fresh: Option<(&'static str, String)>,
    form: Form,
    hook: Form,
) -> Result<ApiPage, Fault> {
    Ok(ApiPage {
        frame: signed.frame.clone(),
        tokens: store::tokens(&app.pool).await?,
        scopes: scopes(),
        webhooks: store::webhooks(&app.pool).await?,
        fresh,
        form,
        hook,
    })
}

/// A secret nobody can guess: 256 bits.
pub(in crate::api) fn secret() -> [u8; 32] {
    let mut bytes = [0_u8; 32];
    rand::rng().fill_bytes(&mut bytes);
    bytes
}

pub(crate) async fn show(State(app): State<App>, Owner(signed): Owner) -> Result<ApiPage, Fault> {
    page(&app, &signed, None, Form::default(), Form::default()).await
}

pub(crate) async fn make(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let name = form.needed("name", 200);
    let known = scopes();
    let wanted: Vec<String> = form
        .all("scope")
        .filter(|scope| known.iter().any(|(name, _)| name == scope))
        .map(str::to_owned)
        .collect();
    if wanted.is_empty() {
        form.wrong("scope", "Tick what it may do, one thing at least.");
    }
    if !form.good() {
        let page = page(&app, &signed, None, form, Form::default()).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let secret = format!("pourday_{}", URL_SAFE_NO_PAD.encode(secret()));
    store::insert_token(&mut work.tx, &name, &secret, &wanted, signed.person, signed.now).await?;
    let detail = json!({ "name": name, "scopes": wanted });
    audit::note(&mut work.tx, signed.now, Some(signed.person), "made a token", "api", detail)
        .await?;
    work.commit(PLACE).await?;
    let page =
        page(&app, &signed, Some(("token", secret)), Form::default(), Form::default()).await?;
    Ok(page.into_response())
}

pub(crate) async fn revoke(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<Uuid>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        store::revoke_token(conn, id, signed.now).await?;
        let detail = json!({ "token": id });
        audit::note(conn, signed.now, Some(signed.person), "revoked a token", "api", detail)
            .await?;
        Ok(PLACE)
    })
    .await?
    .led()
}
