//! The way a message takes: the studio's server, or a folder for trial.

use std::time::Duration;

use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, Tls, TlsParameters};
use lettre::{AsyncFileTransport, AsyncSmtpTransport, AsyncTransport, Message, Tokio1Executor};

use super::store::PostOfficeRow;
use crate::vault::Vault;

/// How long a server may think.
const PATIENCE: Duration = Duration::from_secs(30);

/// Why a message did not get away.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Stuck {
    /// It may go later: the server is down, busy, or wants another password.
    Later(String),
    /// It will not go as it is: the server refused the address or the message.
    Never(String),
}

/// Hands a message over.
pub(super) async fn hand_over(
    office: &PostOfficeRow,
    vault: &Vault,
    message: Message,
) -> Result<(), Stuck> {
    match office.transport.as_str() {
        "smtp" => by_server(office, vault, message).await,
        "folder" => AsyncFileTransport::<Tokio1Executor>::new(&office.folder)
            .send(message)
            .await
            .map(|_| ())
            .map_err(|fault| {
                Stuck::Later(format!("The folder {} cannot be written: {fault}.", office.folder))
            }),
        _ => Err(Stuck::Later("No server is set up that could send it.".to_owned())),
    }
}

async fn by_server(office: &PostOfficeRow, vault: &Vault, message: Message) -> Result<(), Stuck> {
    let later = |fault: &dyn std::fmt::Display| Stuck::Later(format!("{}: {fault}", office.host));
    let parameters = || {
        let mut parameters = TlsParameters::builder(office.host.clone());
        if !office.authority.is_empty() {
            let authority = Certificate::from_pem(office.authority.as_bytes());
            parameters = parameters.add_root_certificate(authority.map_err(|why| later(&why))?);
        }
        parameters.build().map_err(|fault| later(&fault))
    };
    let tls = match office.security.as_str() {
        "tls" => Tls::Wrapper(parameters()?),
        "starttls" => Tls::Required(parameters()?),
        _ => Tls::None,
    };
    let mut server = AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(&office.host)
        .port(u16::try_from(office.port).unwrap_or(587))
        .tls(tls)
        .timeout(Some(PATIENCE));
    if !office.login.is_empty() {
        let password = office.password(vault).map_err(|fault| {
            Stuck::Later(format!(
                "The password of the mail server cannot be read: {fault}. Type it anew under Studio, Post, or bring the key file back; the letter waits."
            ))
        })?;
        server = server.credentials(Credentials::new(office.login.clone(), password));
    }
    match server.build().send(message).await {
        Ok(_) => Ok(()),
        Err(fault) => {
            let words = all_of(&fault);
            if fault.is_tls() || words.contains("certificate") {
                return Err(Stuck::Later(format!(
                    "{} has a certificate that is not trusted, so nothing was told to it: {words}. The letter waits. Look at the server's name; a server of your own needs the certificate of its authority, under Studio, Post.",
                    office.host
                )));
            }
            // 5xx (RFC 5321, 4.2.1): the server says that trying again will not help. A refused
            // password is the studio's to put right, so the letter waits for that.
            let password = fault.status().is_some_and(|code| {
                let code = u16::from(code);
                (530..=538).contains(&code)
            });
            if fault.is_permanent() && !password {
                Err(Stuck::Never(format!("{} refused it: {words}.", office.host)))
            } else {
                Err(Stuck::Later(format!("{}, port {}: {words}.", office.host, office.port)))
            }
        }
    }
}

/// A fault with those below it, each told once and without the system's own numbers.
fn all_of(fault: &dyn std::error::Error) -> String {
    let mut words = fault.to_string();
    let mut below = fault.source();
    while let Some(next) = below {
        let more = next.to_string();
        if !words.contains(&more) {
            words = format!("{words}: {more}");
        }
        below = next.source();
    }
    let numbered = words.find(" (os error ").and_then(|at| {
        let end = words[at..].find(')')?;
        Some(format!("{}{}", &words[..at], &words[at + end + 1..]))
    });
    numbered.unwrap_or(words)
}
