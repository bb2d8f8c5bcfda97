//! Tells webhooks what happened, again and again until they have heard.

use std::time::Duration;

use axum::body::Body;
use axum::http::{Request, header};
use hyper_rustls::HttpsConnector;
use hyper_util::client::legacy::Client;
use hyper_util::client::legacy::connect::HttpConnector;
use hyper_util::rt::TokioExecutor;
use serde_json::json;

use super::signature::{content_digest, sign};
use super::store::{self, DeliveryRow};
use crate::clock::Moment;
use crate::web::App;

/// Between two looks at what is to be told.
const PAUSE: Duration = Duration::from_secs(5);
/// How long a receiver may think.
const PATIENCE: Duration = Duration::from_secs(15);
/// How long one copy of the program keeps a delivery before another may take it.
const CLAIM_S: i64 = 60;
/// Minutes to the next try, after each that failed; after the last it is given up.
const BACK_OFF_MIN: [i64; 8] = [1, 5, 15, 60, 180, 360, 720, 1440];

type Sender = Client<HttpsConnector<HttpConnector>, Body>;

fn sender() -> Sender {
    let https = hyper_rustls::HttpsConnectorBuilder::new()
        .with_webpki_roots()
        .https_or_http()
        .enable_http1()
        .build();
    Client::builder(TokioExecutor::new()).build(https)
}

/// Tells until the program ends.
pub async fn tell_for_ever(app: App) {
    loop {
        if let Err(fault) = tell_due(&app).await {
            tracing::warn!(error.text = %fault, "webhooks could not be told");
        }
        tokio::time::sleep(PAUSE).await;
    }
}

/// Tells everything that is due; how much was heard.
pub async fn tell_due(app: &App) -> Result<usize, sqlx::Error> {
    let mut heard = 0;
    let mut sender: Option<Sender> = None;
    loop {
        let now = app.clock.now();
        let Some(delivery) = store::claim(&app.pool, now, now.plus_seconds(CLAIM_S)).await? else {
            return Ok(heard);
        };
        let sender = sender.get_or_insert_with(self::sender);
        match tell(sender, &delivery, now).await {
            Ok(()) => {
                store::delivered(&app.pool, delivery.id, now).await?;
                heard += 1;
            }
            Err(trouble) => {
                let tried = usize::try_from(delivery.attempts - 1).unwrap_or(0);
                let again = BACK_OFF_MIN.get(tried).map(|minutes| now.plus_minutes(*minutes));
                store::failed(&app.pool, delivery.id, &trouble, again).await?;
            }
        }
    }
}

/// The request that a receiver gets; its body carries an id by which a repetition is known.
fn request(delivery: &DeliveryRow, now: Moment) -> Result<Request<Body>, String> {
    let body = json!({
        "id": delivery.id,
        "event": delivery.event,
        "at": delivery.at.to_string(),
        "data": delivery.content,
    })
    .to_string();
    let digest = content_digest(body.as_bytes());
    let fields = [
        ("@method", "POST"),
        ("@target-uri", delivery.url.as_str()),
        ("content-type", "application/json"),
        ("content-digest", digest.as_str()),
    ];
    let key_id = delivery.webhook_id.to_string();
    let (input, signature) = sign(&delivery.secret, "pourday", &fields, now.0.as_second(), &key_id)
        .ok_or("the secret cannot sign")?;
    Request::post(&delivery.url)
        .header(header::CONTENT_TYPE, "application/json")
        .header(header::USER_AGENT, "Pourday")
        .header("content-digest", &digest)
        .header("signature-input", input)
        .header("signature", signature)
        .body(Body::from(body))
        .map_err(|fault| fault.to_string())
}

async fn tell(sender: &Sender, delivery: &DeliveryRow, now: Moment) -> Result<(), String> {
    let request = request(delivery, now)?;
    match tokio::time::timeout(PATIENCE, sender.request(request)).await {
        Err(_) => Err(format!("No answer within {} s.", PATIENCE.as_secs())),
        Ok(Err(fault)) => Err(format!("It could not be reached: {fault}.")),
        Ok(Ok(answer)) if answer.status().is_success() => Ok(()),
        Ok(Ok(answer)) => Err(format!("It answered {}.", answer.status())),
    }
}
