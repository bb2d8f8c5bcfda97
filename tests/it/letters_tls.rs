//! Letters over TLS, and the password of the mail server under its seal.

use std::sync::{Arc, Mutex};

use axum::http::StatusCode;
use pourday::letters::{deliver_due, seal_kept_password};
use pourday::vault::Vault;
use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, IsCa, KeyPair};
use tokio::io::{AsyncBufReadExt, AsyncRead, AsyncWrite, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::ServerConfig;
use tokio_rustls::rustls::crypto::ring::default_provider;
use tokio_rustls::rustls::pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer};

use crate::invoices::one;
use crate::letters::{hidden, send, written};
use crate::support::studio::Actor;

/// What a server heard: the messages, and how people signed in.
#[derive(Default)]
struct Heard {
    messages: Vec<String>,
    /// Lines that came before the line was secured.
    in_clear: Vec<String>,
    signed_in: Vec<String>,
}

/// A mail server with a certificate of an authority of its own, by STARTTLS (RFC 3207) or
/// with TLS from the first byte (RFC 8314).
struct Server {
    port: u16,
    authority: String,
    heard: Arc<Mutex<Heard>>,
}

impl Server {
    async fn open(wrapped: bool, name: &str) -> Self {
        let mut authority = CertificateParams::new(Vec::new()).unwrap();
        authority.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let authority =
            CertifiedIssuer::self_signed(authority, KeyPair::generate().unwrap()).unwrap();
        let key = KeyPair::generate().unwrap();
        let own = CertificateParams::new(vec![name.to_owned()]).unwrap();
        let own = own.signed_by(&key, &authority).unwrap();
        let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
        let config = ServerConfig::builder_with_provider(Arc::new(default_provider()))
            .with_safe_default_protocol_versions()
            .unwrap()
            .with_no_client_auth()
            .with_single_cert(vec![own.der().clone()], key)
            .unwrap();
        let acceptor = TlsAcceptor::from(Arc::new(config));
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let heard = Arc::new(Mutex::new(Heard::default()));
        let into = heard.clone();
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let (acceptor, into) = (acceptor.clone(), into.clone());
                tokio::spawn(async move {
                    let stream = if wrapped { stream } else { until_tls(stream, &into).await? };
                    let stream = acceptor.accept(stream).await.ok()?;
                    talk(stream, wrapped, &into).await
                });
            }
        });
        Self { port, authority: authority.pem(), heard }
    }

    fn messages(&self) -> Vec<String> {
        self.heard.lock().unwrap().messages.clone()
    }
}

/// The open part of a line: everything up to STARTTLS.
async fn until_tls(mut stream: TcpStream, heard: &Mutex<Heard>) -> Option<TcpStream> {
    stream.write_all(b"220 test\r\n").await.ok()?;
    let mut line = Vec::new();
    loop {
        let byte = tokio::io::AsyncReadExt::read_u8(&mut stream).await.ok()?;
        if byte != b'\n' {
            line.push(byte);
            continue;
        }
        let words = String::from_utf8_lossy(&line).trim_end().to_owned();
        line.clear();
        let (reply, on) = match words.as_str() {
            "STARTTLS" => ("220 go on\r\n", true),
            words if words.starts_with("EHLO") => ("250-test\r\n250 STARTTLS\r\n", false),
            _ => ("530 not in the open\r\n", false),
        };
        heard.lock().unwrap().in_clear.push(words);
        stream.write_all(reply.as_bytes()).await.ok()?;
        if on {
            return Some(stream);
        }
    }
}

async fn talk(
    stream: impl AsyncRead + AsyncWrite + Unpin,
    greets: bool,
    heard: &Mutex<Heard>,
) -> Option<()> {
    let (read, mut write) = tokio::io::split(stream);
    let mut lines = BufReader::new(read).lines();
    if greets {
        write.write_all(b"220 test\r\n").await.ok()?;
    }
    let mut data: Option<String> = None;
    while let Ok(Some(line)) = lines.next_line().await {
        let reply = match (&mut data, line.as_str()) {
            (Some(text), ".") => {
                heard.lock().unwrap().messages.push(std::mem::take(text));
                data = None;
                "250 taken"
            }
            (Some(text), line) => {
                text.push_str(line);
                text.push_str("\r\n");
                continue;
            }
            (None, "DATA") => {
                data = Some(String::new());
                "354 go on"
            }
            (None, line) if line.starts_with("EHLO") => "250-test\r\n250 AUTH PLAIN",
            (None, line) if line.starts_with("AUTH") => {
                heard.lock().unwrap().signed_in.push(line.to_owned());
                "235 welcome"
            }
            (None, _) => "250 OK",
        };
        write.write_all(format!("{reply}\r\n").as_bytes()).await.ok()?;
    }
    Some(())
}

const PASSWORD: &str = "a very secret word";

async fn set_up(owner: &Actor, server: &Server, security: &str, more: &[(&str, &str)]) {
    let version = hidden(owner.get("/studio/post-office").await.page(), "version");
    let port = server.port.to_string();
    let mut fields = vec![
        ("version", version.as_str()),
        ("transport", "smtp"),
        ("host", "localhost"),
        ("port", &port),
        ("security", security),
        ("login", "studio"),
        ("password", PASSWORD),
        ("from_email", "studio@example.org"),
        ("authority", &server.authority),
    ];
    fields.retain(|(name, _)| !more.iter().any(|(other, _)| other == name));
    fields.extend(more);
    owner.post("/studio/post-office", &fields).await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_letter_goes_over_tls_from_the_first_byte_or_from_starttls() {
    for security in ["tls", "starttls"] {
        let (studio, owner, letter) = written().await;
        let server = Server::open(security == "tls", "localhost").await;
        set_up(&owner, &server, security, &[]).await;
        send(&owner, &letter).await.led_to();
        assert_eq!(deliver_due(&studio.app).await.unwrap(), 1, "{security}");
        let messages = server.messages();
        assert_eq!(messages.len(), 1, "{security}");
        assert!(messages[0].contains("application/pdf"), "{security}");
        let heard = server.heard.lock().unwrap();
        // RFC 4616: nothing, the name, the password.
        let plain = base64::Engine::encode(
            &base64::engine::general_purpose::STANDARD,
            format!("\0studio\0{PASSWORD}"),
        );
        assert_eq!(heard.signed_in, [format!("AUTH PLAIN {plain}")], "{security}");
        // Before the line was secured it heard greetings only.
        let clear = heard.in_clear.iter().filter(|line| !line.starts_with("EHLO"));
        let expected: &[&str] = if security == "tls" { &[] } else { &["STARTTLS"] };
        assert_eq!(clear.collect::<Vec<_>>(), expected, "{security}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_certificate_that_nobody_vouches_for_is_refused_and_the_letter_waits() {
    let (studio, owner, letter) = written().await;
    // Once of an authority that is not known, once for another name.
    let unknown = Server::open(true, "localhost").await;
    let other_name = Server::open(true, "mail.example.org").await;
    let wrong = [("authority", "-----BEGIN CERTIFICATE-----\nnonsense\n-----END CERTIFICATE-----")];
    let version = hidden(owner.get("/studio/post-office").await.page(), "version");
    let fields = [
        ("version", version.as_str()),
        ("transport", "smtp"),
        ("host", "localhost"),
        ("port", "465"),
        ("security", "tls"),
        ("from_email", "studio@example.org"),
        wrong[0],
    ];
    let refused = owner.post("/studio/post-office", &fields).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.body.contains("This is not a certificate in PEM"), "{}", refused.body);
    for (server, more) in [(&unknown, vec![("authority", "")]), (&other_name, Vec::new())] {
        set_up(&owner, server, "tls", &more).await;
        if one(&studio, "SELECT state FROM outbox").await == "draft" {
            send(&owner, &letter).await.led_to();
        }
        studio.clock.set(studio.clock.now().plus_minutes(800));
        assert_eq!(deliver_due(&studio.app).await.unwrap(), 0);
        assert_eq!(one(&studio, "SELECT state FROM outbox").await, "waiting");
        let page = owner.get(&letter).await;
        assert!(page.page().contains("a certificate that is not trusted"), "{}", page.body);
        assert!(server.messages().is_empty() && server.heard.lock().unwrap().signed_in.is_empty());
    }
    // With the right server it goes.
    let server = Server::open(true, "localhost").await;
    set_up(&owner, &server, "tls", &[]).await;
    assert_eq!(deliver_due(&studio.app).await.unwrap(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn without_its_key_a_password_stays_shut_and_the_page_says_what_to_do() {
    let (studio, owner, letter) = written().await;
    let server = Server::open(true, "localhost").await;
    set_up(&owner, &server, "tls", &[]).await;
    send(&owner, &letter).await.led_to();
    let mut studio = studio;
    for (vault, words) in [
        (Vault::none(), "there is no key file here"),
        (Vault::with_key([9; 32]), "another key than the one in the key file"),
    ] {
        studio = studio.with_vault(vault);
        let owner = owner.at(&studio);
        studio.clock.set(studio.clock.now().plus_minutes(800));
        assert_eq!(deliver_due(&studio.app).await.unwrap(), 0);
        assert!(owner.get(&letter).await.page().contains(words), "{words}");
        let page = owner.get("/studio/post-office").await;
        assert!(page.page().contains(words) && page.body.contains("type the password anew"));
    }
    // Without a key none can be kept.
    let studio = studio.with_vault(Vault::none());
    let nobody = owner.at(&studio);
    let version = hidden(nobody.get("/studio/post-office").await.page(), "version");
    let fields = [
        ("version", version.as_str()),
        ("transport", "smtp"),
        ("host", "localhost"),
        ("port", "465"),
        ("security", "tls"),
        ("login", "studio"),
        ("password", "another word"),
        ("from_email", "studio@example.org"),
    ];
    let refused = nobody.post("/studio/post-office", &fields).await;
    assert!(refused.body.contains("There is no key file to seal a password with"));
    assert!(!one(&studio, "SELECT post_office::text FROM post_office").await.contains("another"));
    // Typed anew under a key, the letter goes.
    let studio = studio.with_vault(Vault::with_key([9; 32]));
    let owner = owner.at(&studio);
    set_up(&owner, &server, "tls", &[]).await;
    assert_eq!(deliver_due(&studio.app).await.unwrap(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_password_kept_in_clear_before_is_sealed_at_the_start() {
    let (studio, owner, letter) = written().await;
    let server = Server::open(true, "localhost").await;
    set_up(&owner, &server, "tls", &[]).await;
    sqlx::query("UPDATE post_office SET password = $1, sealed = NULL")
        .bind(PASSWORD)
        .execute(&studio.db.pool)
        .await
        .unwrap();
    // Without a key it goes on working, and the page says that it lies open.
    let studio = studio.with_vault(Vault::none());
    seal_kept_password(&studio.app).await.unwrap();
    assert_eq!(one(&studio, "SELECT password FROM post_office").await, PASSWORD);
    let page = owner.at(&studio).get("/studio/post-office").await;
    assert!(page.page().contains("lies in the database in clear"));
    let studio = studio.with_vault(Vault::with_key([7; 32]));
    seal_kept_password(&studio.app).await.unwrap();
    assert_eq!(one(&studio, "SELECT password FROM post_office").await, "");
    seal_kept_password(&studio.app).await.unwrap();
    let owner = owner.at(&studio);
    assert!(owner.get("/studio/post-office").await.page().contains("sealed with a key"));
    send(&owner, &letter).await.led_to();
    assert_eq!(deliver_due(&studio.app).await.unwrap(), 1);
}
