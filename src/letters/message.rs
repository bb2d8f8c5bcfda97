//! A letter as a message that servers take (RFC 5322, MIME).

use std::time::{Duration, SystemTime};

use lettre::message::header::ContentType;
use lettre::message::{Attachment, Mailbox, Message, MultiPart, SinglePart};

use crate::clock::Moment;

/// Everything a message is made of.
#[derive(Clone, Debug)]
pub(super) struct Parts<'a> {
    pub(super) from_name: &'a str,
    pub(super) from_email: &'a str,
    pub(super) reply_to: &'a str,
    pub(super) to_name: &'a str,
    pub(super) to_email: &'a str,
    pub(super) subject: &'a str,
    pub(super) body: &'a str,
    pub(super) message_id: &'a str,
    pub(super) at: Moment,
    /// Name and content of a PDF that goes with it.
    pub(super) paper: Option<(String, Vec<u8>)>,
}

/// Why no message could be made: an address or a text that no server would take.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub(super) enum MessageFault {
    #[error("“{0}” is not an e-mail address")]
    Address(String),
    #[error("the letter could not be written as a message: {0}")]
    Other(String),
}

/// An address with a name; line breaks have no place in either.
pub(super) fn mailbox(name: &str, email: &str) -> Result<Mailbox, MessageFault> {
    let wrong = || MessageFault::Address(email.to_owned());
    if email.contains(['\r', '\n', '\0']) || name.contains(['\r', '\n', '\0']) {
        return Err(wrong());
    }
    let address = email.trim().parse().map_err(|_| wrong())?;
    Ok(Mailbox::new((!name.is_empty()).then(|| name.to_owned()), address))
}

/// Writes the message.
pub(super) fn message(parts: &Parts<'_>) -> Result<Message, MessageFault> {
    let other = |fault: &dyn std::fmt::Display| MessageFault::Other(fault.to_string());
    let seconds = u64::try_from(parts.at.0.as_second()).unwrap_or(0);
    let mut builder = Message::builder()
        .from(mailbox(parts.from_name, parts.from_email)?)
        .to(mailbox(parts.to_name, parts.to_email)?)
        .subject(parts.subject)
        .message_id(Some(parts.message_id.to_owned()))
        .date(SystemTime::UNIX_EPOCH + Duration::from_secs(seconds));
    if !parts.reply_to.is_empty() {
        builder = builder.reply_to(mailbox("", parts.reply_to)?);
    }
    // Lines of a message end with both characters.
    let body = parts.body.replace("\r\n", "\n").replace('\n', "\r\n");
    match &parts.paper {
        None => builder.singlepart(SinglePart::plain(body)).map_err(|fault| other(&fault)),
        Some((name, content)) => {
            let pdf = ContentType::parse("application/pdf").map_err(|fault| other(&fault))?;
            let both = MultiPart::mixed()
                .singlepart(SinglePart::plain(body))
                .singlepart(Attachment::new(name.clone()).body(content.clone(), pdf));
            builder.multipart(both).map_err(|fault| other(&fault))
        }
    }
}
