//! Webhooks: addresses that are told what happened.

use axum::extract::{Path, State};
use axum::http::{StatusCode, Uri};
use axum::response::{IntoResponse, Response};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde_json::json;
use uuid::Uuid;

use super::tokens::{PLACE, page, secret};
use crate::api::store;
use crate::audit;
use crate::db::once::{self, Begun};
use crate::people::Owner;
use crate::web::{App, Fault, Form, see_other};

/// What can be told, with when.
pub(super) const EVENTS: [(&str, &str); 9] = [
    ("order.enquiry", "a client declined; the order is an enquiry again"),
    ("order.quoted", "a quote went to the client"),
    ("order.agreed", "the client said yes"),
    ("order.ready", "every piece is ready"),
    ("order.handed_over", "everything is with the client"),
    ("order.cancelled", "an order was cancelled"),
    ("invoice.issued", "an invoice was issued"),
    ("credit_note.issued", "a credit note was issued"),
    ("payment.noted", "a payment was noted"),
];

pub(crate) async fn make(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let url = form.line("url", 500);
    let good = url.parse::<Uri>().is_ok_and(|uri| {
        matches!(uri.scheme_str(), Some("http" | "https"))
            && uri.host().is_some_and(|host| !host.is_empty())
    });
    if !good {
        form.wrong("url", "A whole address is needed, as in https://example.org/told.");
    }
    let wanted: Vec<String> = form
        .all("event")
        .filter(|event| EVENTS.iter().any(|(name, _)| name == event))
        .map(str::to_owned)
        .collect();
    if wanted.is_empty() {
        form.wrong("event", "Tick what it is told, one thing at least.");
    }
    if !form.good() {
        let page = page(&app, &signed, None, Form::default(), form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let secret = secret();
    store::insert_webhook(&mut work.tx, &url, &secret, &wanted, signed.person, signed.now).await?;
    let detail = json!({ "url": url, "events": wanted });
    audit::note(&mut work.tx, signed.now, Some(signed.person), "made a webhook", "api", detail)
        .await?;
    work.commit(PLACE).await?;
    let fresh = Some(("secret", STANDARD.encode(secret)));
    let page = page(&app, &signed, fresh, Form::default(), Form::default()).await?;
    Ok(page.into_response())
}

pub(crate) async fn end(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<Uuid>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        store::end_webhook(conn, id, signed.now).await?;
        let detail = json!({ "webhook": id });
        audit::note(conn, signed.now, Some(signed.person), "ended a webhook", "api", detail)
            .await?;
        Ok(PLACE)
    })
    .await?
    .led()
}
