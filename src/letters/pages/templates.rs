//! The templates that letters begin from.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::letters::actions;
use crate::letters::forms::read_template;
use crate::letters::kinds::{KINDS, Kind};
use crate::letters::paths::{PostOffice, Templates};
use crate::letters::{Letters, store, template};
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "letters/templates.html")]
pub(crate) struct ListTemplates {
    frame: Frame,
    kinds: Vec<(&'static Kind, bool)>,
}

pub(crate) async fn list(
    State(app): State<App>,
    Owner(signed): Owner,
) -> Result<ListTemplates, Fault> {
    let mut kinds = Vec::with_capacity(KINDS.len());
    for kind in &KINDS {
        kinds.push((kind, store::template(&app.pool, kind.name).await?.is_some()));
    }
    Ok(ListTemplates { frame: signed.frame, kinds })
}

#[derive(Template, WebTemplate)]
#[template(path = "letters/template.html")]
pub(crate) struct EditTemplate {
    frame: Frame,
    kind: &'static Kind,
    own: bool,
    version: i64,
    /// The letter with examples in it; none while something is wrong.
    preview: Option<(String, String)>,
    form: Form,
}

async fn page(
    app: &App,
    signed: &Signed,
    kind: &'static Kind,
    form: Option<Form>,
) -> Result<EditTemplate, Fault> {
    let own = store::template(&app.pool, kind.name).await?;
    let version = own.as_ref().map_or(0, |own| own.version);
    let (subject, body) = own.as_ref().map_or_else(
        || (kind.subject.to_owned(), kind.body.to_owned()),
        |own| (own.subject.clone(), own.body.clone()),
    );
    let form = form.unwrap_or_else(|| Form::filled([("subject", subject), ("body", body)]));
    let filled =
        |field: &str| template::fill(form.value(field), &kind.known(), |name| kind.example(name));
    let preview = filled("subject").ok().zip(filled("body").ok());
    Ok(EditTemplate {
        frame: signed.frame.clone(),
        kind,
        own: own.is_some(),
        version,
        preview,
        form,
    })
}

fn named(name: &str) -> Result<&'static Kind, Fault> {
    Kind::named(name).ok_or(Fault::NotFound)
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(name): Path<String>,
) -> Result<EditTemplate, Fault> {
    page(&app, &signed, named(&name)?, None).await
}

/// What was typed, with examples in it; keeps nothing.
pub(crate) async fn preview(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(name): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let kind = named(&name)?;
    let good = read_template(&mut form, kind).is_some();
    let page = page(&app, &signed, kind, Some(form)).await?;
    let status = if good { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    Ok((status, page).into_response())
}

pub(crate) async fn save(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(name): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let kind = named(&name)?;
    let seen = form.version();
    let Some((subject, body)) = read_template(&mut form, kind) else {
        let page = page(&app, &signed, kind, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::save_template(conn, &signed, kind, (&subject, &body), seen).await?;
            Ok(Templates)
        })
        .await?;
    ended.or_show(page(&app, &signed, kind, Some(form))).await
}

/// Goes back to the template of the house.
pub(crate) async fn reset(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(name): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let kind = named(&name)?;
    form.act_once(&app.pool, signed.now, async |conn| {
        store::drop_template(conn, kind.name).await?;
        Ok(format!("{Templates}/{}", kind.name))
    })
    .await?
    .led()
}
