//! One client: what is known, and their orders.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::clients::forms::ClientForm;
use crate::clients::view::{self, OrderRow};
use crate::clients::{Client, Clients, actions};
use crate::id::ClientId;
use crate::metal::{self, OfClient};
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "clients/show.html")]
pub(crate) struct ShowClient {
    frame: Frame,
    id: ClientId,
    name: String,
    version: i64,
    orders: Vec<OrderRow>,
    classes: Vec<(String, String)>,
    archived: bool,
    metal: Option<String>,
    refusal: Option<String>,
    form: Form,
}

async fn page(
    app: &App,
    signed: &Signed,
    id: ClientId,
    form: Option<Form>,
) -> Result<ShowClient, Fault> {
    let client = view::load(&app.pool, id).await?;
    let orders = view::orders_of(&app.pool, id).await?;
    let form = form.unwrap_or_else(|| {
        Form::filled([
            ("name", client.name.clone()),
            ("email", client.email.clone()),
            ("phone", client.phone.clone()),
            ("address", client.address.clone()),
            ("note", client.note.clone()),
            ("class", client.class_id.map(|id| id.to_string()).unwrap_or_default()),
        ])
    });
    let frame = signed.frame.clone();
    Ok(ShowClient {
        frame,
        id: client.id,
        name: client.name,
        version: client.version,
        orders,
        classes: view::classes(&app.pool).await?,
        archived: client.archived_at.is_some(),
        metal: metal::open_with(&app.pool, id).await?,
        refusal: None,
        form,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<ClientId>,
) -> Result<ShowClient, Fault> {
    page(&app, &signed, id, None).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<ClientId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let Some(client) = ClientForm::read(&mut form) else {
        let page = page(&app, &signed, id, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::change(conn, &signed, id, &client, seen).await?;
            Ok(Client(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, Some(form))).await
}

async fn put(
    app: App,
    signed: Signed,
    id: ClientId,
    mut form: Form,
    back: bool,
) -> Result<Response, Fault> {
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            if back {
                actions::bring_back(conn, &signed, id).await?;
            } else {
                actions::archive(conn, &signed, id).await?;
            }
            Ok(Client(id))
        })
        .await?;
    ended
        .or_tell(async |refused| {
            let mut page = page(&app, &signed, id, None).await?;
            page.refusal = Some(refused.message);
            Ok(page)
        })
        .await
}

pub(crate) async fn archive(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<ClientId>,
    form: Form,
) -> Result<Response, Fault> {
    put(app, signed, id, form, false).await
}

pub(crate) async fn bring_back(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<ClientId>,
    form: Form,
) -> Result<Response, Fault> {
    put(app, signed, id, form, true).await
}
