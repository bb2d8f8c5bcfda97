//! Sends what waits, again and again until it is gone.

use std::time::Duration;

use super::message::{self, Parts};
use super::post::{self, Stuck};
use super::store::{self, LetterRow, PostOfficeRow};
use crate::invoices;
use crate::studio::Settings;
use crate::web::App;

/// Between two looks into the outbox.
const PAUSE: Duration = Duration::from_secs(5);
/// How long one copy of the program keeps a letter before another may take it.
const CLAIM_S: i64 = 180;
/// Minutes to the next try, after each that failed; after the last the letter is given up.
const BACK_OFF_MIN: [i64; 10] = [1, 2, 5, 15, 30, 60, 120, 240, 480, 720];

/// Looks into the outbox until the program ends.
pub async fn deliver_for_ever(app: App) {
    loop {
        if let Err(fault) = deliver_due(&app).await {
            tracing::warn!(error.text = %fault, "letters could not be looked through");
        }
        tokio::time::sleep(PAUSE).await;
    }
}

/// Sends every letter that is due; how many got away.
pub async fn deliver_due(app: &App) -> Result<usize, sqlx::Error> {
    let office = store::post_office(&app.pool).await?;
    let mut gone = 0;
    if !office.is_open() {
        return Ok(gone);
    }
    loop {
        let now = app.clock.now();
        let Some(letter) = store::claim(&app.pool, now, now.plus_seconds(CLAIM_S)).await? else {
            return Ok(gone);
        };
        match deliver(app, &office, &letter).await {
            Ok(message) => {
                store::sent(&app.pool, letter.id, &message, now).await?;
                gone += 1;
            }
            Err(Stuck::Never(trouble)) => {
                store::stuck(&app.pool, letter.id, &trouble, None).await?
            }
            Err(Stuck::Later(trouble)) => {
                let tried = usize::try_from(letter.attempts - 1).unwrap_or(0);
                let again = BACK_OFF_MIN.get(tried).map(|minutes| now.plus_minutes(*minutes));
                store::stuck(&app.pool, letter.id, &trouble, again).await?;
            }
        }
    }
}

async fn deliver(app: &App, office: &PostOfficeRow, letter: &LetterRow) -> Result<Vec<u8>, Stuck> {
    let message = build(app, office, letter).await?;
    let bytes = message.formatted();
    post::hand_over(office, &app.vault, message).await?;
    Ok(bytes)
}

/// The message of a letter as it would go out now.
pub(super) async fn build(
    app: &App,
    office: &PostOfficeRow,
    letter: &LetterRow,
) -> Result<lettre::Message, Stuck> {
    let broken = |fault: sqlx::Error| Stuck::Later(fault.to_string());
    let settings = Settings::load(&app.pool).await.map_err(broken)?;
    let paper = match letter.invoice_id {
        Some(id) => {
            Some(invoices::attachment(&app.pool, id, &settings, app.clock.now()).await.map_err(
                |fault| {
                    tracing::error!(error.text = ?fault, "no paper for a letter");
                    Stuck::Later("The invoice could not be written as PDF.".to_owned())
                },
            )?)
        }
        None => None,
    };
    let parts = Parts {
        from_name: &settings.name,
        from_email: &office.from_email,
        reply_to: &office.reply_to,
        to_name: &letter.recipient_name,
        to_email: &letter.recipient,
        subject: &letter.subject,
        body: &letter.body,
        message_id: &letter.message_id,
        at: app.clock.now(),
        paper,
    };
    message::message(&parts).map_err(|fault| Stuck::Never(format!("{fault}.")))
}
