//! What people type about letters.

use lettre::transport::smtp::client::{Certificate, TlsParameters};

use super::kinds::Kind;
use super::message::mailbox;
use super::store::PostOfficeRow;
use super::template::fill;
use crate::web::Form;

/// A letter as typed, checked.
#[derive(Clone, Debug)]
pub(super) struct LetterForm {
    pub(super) recipient: String,
    pub(super) recipient_name: String,
    pub(super) subject: String,
    pub(super) body: String,
}

fn address(form: &mut Form, name: &str) -> String {
    let email = form.line(name, 200);
    if !email.is_empty() && form.error(name).is_none() && mailbox("", &email).is_err() {
        form.wrong(name, "This is not an e-mail address; it looks like ada@example.org.");
    }
    email
}

impl LetterForm {
    /// Reads the form; a letter may be kept without an address, but not sent.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let recipient = address(form, "recipient");
        let recipient_name = form.line("recipient_name", 200);
        let subject = form.line("subject", 300);
        if subject.is_empty() {
            form.wrong("subject", "This is needed.");
        }
        let body = form.needed("body", 20_000);
        form.good().then_some(Self { recipient, recipient_name, subject, body })
    }
}

/// Reads a template; a name that stands for nothing is refused at its field.
pub(super) fn read_template(form: &mut Form, kind: &Kind) -> Option<(String, String)> {
    let subject = form.line("subject", 300);
    if subject.is_empty() {
        form.wrong("subject", "This is needed.");
    }
    let body = form.needed("body", 20_000);
    for (field, text) in [("subject", &subject), ("body", &body)] {
        if let Err(fault) = fill(text, &kind.known(), |name| kind.example(name)) {
            form.wrong(field, fault.to_string());
        }
    }
    form.good().then_some((subject, body))
}

/// Reads the way letters take.
pub(super) fn read_post_office(form: &mut Form) -> Option<PostOfficeRow> {
    let version = form.version();
    let transport = one_of(form, "transport", &["off", "folder", "smtp"]);
    let security = one_of(form, "security", &["tls", "starttls", "none"]);
    let folder = form.line("folder", 500);
    let host = form.line("host", 200);
    let port = form.whole("port", 1, 65_535);
    let login = form.line("login", 200);
    let password = form.value("password").to_owned();
    let from_email = address(form, "from_email");
    let reply_to = address(form, "reply_to");
    let authority = form.text("authority", 20_000).trim().to_owned();
    if !authority.is_empty() && !is_authority(&authority) {
        form.wrong(
            "authority",
            "This is not a certificate in PEM; it begins with -----BEGIN CERTIFICATE-----.",
        );
    }
    match transport.as_str() {
        "smtp" if host.is_empty() => form.wrong("host", "The name of the server is needed."),
        "folder" if !folder.starts_with('/') => {
            form.wrong("folder", "The whole path of a folder is needed, as in /var/lib/letters.");
        }
        _ => {}
    }
    if transport != "off" && from_email.is_empty() {
        form.wrong("from_email", "The address that letters come from is needed.");
    }
    if transport == "smtp" && security == "none" && !login.is_empty() {
        form.wrong("security", "A password is not sent over an open line. Choose TLS or STARTTLS, or leave the name empty.");
    }
    form.good().then_some(())?;
    Some(PostOfficeRow {
        transport,
        folder,
        host,
        port: i32::try_from(port?).ok()?,
        security,
        login,
        password,
        sealed: None,
        authority,
        from_email,
        reply_to,
        version,
    })
}

/// Whether a text holds certificates that a server can be judged by.
fn is_authority(pem: &str) -> bool {
    let read = Certificate::from_pem(pem.as_bytes()).ok();
    let trusted = |read| {
        let parameters = TlsParameters::builder("localhost".to_owned());
        parameters.add_root_certificate(read).build().is_ok()
    };
    pem.contains("BEGIN CERTIFICATE") && read.is_some_and(trusted)
}

fn one_of(form: &mut Form, name: &str, choices: &[&str]) -> String {
    let value = form.value(name).to_owned();
    if !choices.contains(&value.as_str()) {
        form.wrong(name, "Choose one of these.");
    }
    value
}
