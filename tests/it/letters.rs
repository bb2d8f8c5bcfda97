//! Letters: seen before they go, kept until they are gone, read back as any mail program would.

use std::sync::{Arc, Mutex};

use axum::http::StatusCode;
use mail_parser::{MessageParser, MimeHeaders};
use pourday::letters::deliver_due;
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::TcpListener;

use crate::invoices::{agreed, issued, one};
use crate::support::studio::{Actor, Studio};

/// A server that takes mail (RFC 5321), and may be told to refuse.
struct Server {
    port: u16,
    taken: Arc<Mutex<Vec<String>>>,
    answer: Arc<Mutex<&'static str>>,
}

impl Server {
    async fn open() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let taken = Arc::new(Mutex::new(Vec::new()));
        let answer = Arc::new(Mutex::new("250 OK"));
        let (into, says) = (taken.clone(), answer.clone());
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let (read, mut write) = stream.into_split();
                let mut lines = BufReader::new(read).lines();
                write.write_all(b"220 test\r\n").await.unwrap();
                let mut data: Option<String> = None;
                while let Ok(Some(line)) = lines.next_line().await {
                    let reply = match (&mut data, line.as_str()) {
                        (Some(text), ".") => {
                            into.lock().unwrap().push(std::mem::take(text));
                            data = None;
                            "250 taken".to_owned()
                        }
                        (Some(text), line) => {
                            // A line that begins with a dot was given a second one.
                            text.push_str(line.strip_prefix('.').unwrap_or(line));
                            text.push_str("\r\n");
                            continue;
                        }
                        (None, "DATA") => {
                            data = Some(String::new());
                            "354 go on".to_owned()
                        }
                        (None, line) if line.starts_with("EHLO") => "250 test".to_owned(),
                        (None, line) if line.starts_with("RCPT") => {
                            says.lock().unwrap().to_string()
                        }
                        (None, _) => "250 OK".to_owned(),
                    };
                    if write.write_all(format!("{reply}\r\n").as_bytes()).await.is_err() {
                        break;
                    }
                }
            }
        });
        Self { port, taken, answer }
    }

    fn taken(&self) -> Vec<String> {
        self.taken.lock().unwrap().clone()
    }
}

async fn set_up(owner: &Actor, port: u16) {
    let version = owner.get("/studio/post-office").await;
    let version = hidden(version.page(), "version");
    let port = port.to_string();
    let fields = [
        ("version", version.as_str()),
        ("transport", "smtp"),
        ("host", "127.0.0.1"),
        ("port", &port),
        ("security", "none"),
        ("from_email", "studio@example.org"),
        ("reply_to", "maren@example.org"),
    ];
    owner.post("/studio/post-office", &fields).await.led_to();
}

pub(crate) fn hidden(page: &str, name: &str) -> String {
    let mark = format!("name=\"{name}\" value=\"");
    page.split(&mark).nth(1).unwrap().split('"').next().unwrap().to_owned()
}

/// An issued invoice and the draft of the letter with it.
pub(crate) async fn written() -> (Studio, Actor, String) {
    let (studio, owner, number) = agreed().await;
    sqlx::query("UPDATE clients SET email = 'ada@example.org', name = 'Ada Quill, née Øster'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let invoice = issued(&owner, number, "rest").await;
    let invoice = invoice.rsplit('/').next().unwrap().to_owned();
    let fields = [("kind", "invoice"), ("invoice", invoice.as_str())];
    let letter = owner.post("/letters", &fields).await.led_to().to_owned();
    (studio, owner, letter)
}

pub(crate) async fn send(owner: &Actor, letter: &str) -> crate::support::studio::Answer {
    let page = owner.get(letter).await;
    let typed = |name| text(&hidden(page.page(), name));
    let body = page.body.split("name=\"body\"").nth(1).unwrap();
    let body = text(body.split_once('>').unwrap().1.split("</textarea>").next().unwrap());
    let fields = [
        ("version", typed("version")),
        ("recipient", typed("recipient")),
        ("recipient_name", typed("recipient_name")),
        ("subject", typed("subject")),
        ("body", body),
    ];
    let fields: Vec<_> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    owner.post(&format!("{letter}/send"), &fields).await
}

/// The characters of a page's markup.
fn text(markup: &str) -> String {
    let plain = markup.replace("&#60;", "<").replace("&#62;", ">").replace("&#34;", "\"");
    plain.replace("&#39;", "'").replace("&#38;", "&")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_letter_is_seen_changed_sent_and_read_back_as_it_was() {
    let (studio, owner, letter) = written().await;
    let page = owner.get(&letter).await;
    assert!(page.page().contains("you find invoice 1 over 323.99"));
    let refused = send(&owner, &letter).await;
    assert_eq!(refused.status, StatusCode::CONFLICT, "no server is set up");
    let server = Server::open().await;
    set_up(&owner, server.port).await;
    let version = hidden(owner.get(&letter).await.page(), "version");
    let body = "Dear Ada,\n\n.a line that begins with a dot\nÄÖÜ ł 銀\n\nMaren";
    let fields = [
        ("version", version.as_str()),
        ("recipient", "ada@example.org"),
        ("recipient_name", "Ada Quill, née Øster"),
        ("subject", "Rechnung für Knöpfe – 1"),
        ("body", body),
    ];
    owner.post(&letter, &fields).await.led_to();
    send(&owner, &letter).await.led_to();
    assert_eq!(deliver_due(&studio.app).await.unwrap(), 1);
    assert_eq!(deliver_due(&studio.app).await.unwrap(), 0, "it goes once");
    let taken = server.taken();
    assert_eq!(taken.len(), 1);
    assert!(taken[0].lines().all(|line| line.is_ascii() && line.len() <= 998), "RFC 5322, 2.1.1");
    let message = MessageParser::default().parse(taken[0].as_bytes()).unwrap();
    assert_eq!(message.subject(), Some("Rechnung für Knöpfe – 1"));
    let to = message.to().unwrap().first().unwrap();
    assert_eq!(to.address(), Some("ada@example.org"));
    assert_eq!(to.name(), Some("Ada Quill, née Øster"));
    let from = message.from().unwrap().first().unwrap();
    assert_eq!((from.address(), from.name()), (Some("studio@example.org"), Some("Test Studio")));
    assert_eq!(message.reply_to().unwrap().first().unwrap().address(), Some("maren@example.org"));
    assert_eq!(message.date().unwrap().to_rfc3339(), "2026-11-25T09:00:00Z");
    assert!(message.message_id().unwrap().ends_with("@example.org"));
    assert_eq!(message.body_text(0).unwrap().replace("\r\n", "\n").trim_end(), body);
    let paper = message.attachment(0).unwrap();
    assert_eq!(paper.attachment_name(), Some("invoice-1.pdf"));
    assert!(paper.contents().starts_with(b"%PDF-"));
    assert!(owner.get(&letter).await.page().contains("As it went out"));
    let again =
        [("version", "99"), ("recipient", "ada@example.org"), ("subject", "x"), ("body", "y")];
    let again = owner.post(&format!("{letter}/send"), &again).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
}

#[tokio::test(flavor = "multi_thread")]
async fn sending_sends_what_is_typed_and_a_refusal_keeps_it() {
    let (studio, owner, letter) = written().await;
    let typed = |version: &str, recipient: &str| {
        [
            ("version", version.to_owned()),
            ("recipient", recipient.to_owned()),
            ("recipient_name", "Ada".to_owned()),
            ("subject", "A new subject".to_owned()),
            ("body", "Dear Ada, typed just now".to_owned()),
        ]
    };
    let send = async |version: &str, recipient: &str| {
        let fields = typed(version, recipient);
        let fields: Vec<_> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
        owner.post(&format!("{letter}/send"), &fields).await
    };
    let version = hidden(owner.get(&letter).await.page(), "version");
    for (recipient, status) in [
        // No server is set up; then there is no address; then it is none.
        ("ada@example.org", StatusCode::CONFLICT),
        ("", StatusCode::CONFLICT),
        ("ada", StatusCode::UNPROCESSABLE_ENTITY),
    ] {
        let refused = send(&version, recipient).await;
        assert_eq!(refused.status, status, "{recipient}");
        assert!(refused.body.contains("value=\"A new subject\""), "{recipient}");
        assert!(refused.body.contains("Dear Ada, typed just now</textarea>"), "{recipient}");
    }
    let server = Server::open().await;
    set_up(&owner, server.port).await;
    // Both buttons belong to the form that has the text.
    let page = owner.get(&letter).await;
    let form = page.page().split(&format!("action=\"{letter}\"")).nth(1).unwrap();
    let form = form.split("</form>").next().unwrap();
    assert!(form.contains("<textarea") && form.contains(&format!("formaction=\"{letter}/send\"")));
    send(&version, "ada@example.org").await.led_to();
    assert_eq!(deliver_due(&studio.app).await.unwrap(), 1);
    let taken = server.taken();
    let message = MessageParser::default().parse(taken[0].as_bytes()).unwrap();
    assert_eq!(message.subject(), Some("A new subject"));
    assert_eq!(message.body_text(0).unwrap().trim_end(), "Dear Ada, typed just now");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_is_down_keeps_the_letter_waiting_and_says_so() {
    let (studio, owner, letter) = written().await;
    let port = {
        // A port that nobody listens on.
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        listener.local_addr().unwrap().port()
    };
    set_up(&owner, port).await;
    send(&owner, &letter).await.led_to();
    assert_eq!(deliver_due(&studio.app).await.unwrap(), 0);
    let page = owner.get(&letter).await;
    assert!(page.page().contains("It has not got away yet"));
    assert!(owner.get("/letters").await.page().contains("One letter has not got away"));
    assert_eq!(one(&studio, "SELECT attempts::text FROM outbox").await, "1");
    deliver_due(&studio.app).await.unwrap();
    assert_eq!(one(&studio, "SELECT attempts::text FROM outbox").await, "1", "it waits a minute");
    // Each time it waits longer; after the last try it is given up, and kept.
    for tries in 2..=11 {
        studio.clock.set(studio.clock.now().plus_minutes(721));
        deliver_due(&studio.app).await.unwrap();
        let expected = tries.to_string();
        assert_eq!(one(&studio, "SELECT attempts::text FROM outbox").await, expected);
    }
    assert_eq!(one(&studio, "SELECT state FROM outbox").await, "given_up");
    let server = Server::open().await;
    set_up(&owner, server.port).await;
    send(&owner, &letter).await.led_to();
    assert_eq!(deliver_due(&studio.app).await.unwrap(), 1);
    assert_eq!(server.taken().len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_refuses_an_address_is_not_asked_again() {
    let (studio, owner, letter) = written().await;
    let server = Server::open().await;
    *server.answer.lock().unwrap() = "550 no such person";
    set_up(&owner, server.port).await;
    send(&owner, &letter).await.led_to();
    deliver_due(&studio.app).await.unwrap();
    let page = owner.get(&letter).await;
    assert!(page.page().contains("It was not sent."));
    assert!(page.body.contains("no such person"));
    *server.answer.lock().unwrap() = "451 come back later";
    send(&owner, &letter).await.led_to();
    deliver_due(&studio.app).await.unwrap();
    assert_eq!(one(&studio, "SELECT state FROM outbox").await, "waiting");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_letter_claimed_by_a_copy_that_died_is_sent_by_another() {
    let (studio, owner, letter) = written().await;
    let server = Server::open().await;
    set_up(&owner, server.port).await;
    send(&owner, &letter).await.led_to();
    sqlx::query("UPDATE outbox SET claimed_until = $1")
        .bind(studio.clock.now().plus_seconds(100))
        .execute(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(deliver_due(&studio.app).await.unwrap(), 0);
    studio.clock.set(studio.clock.now().plus_seconds(101));
    let (one, two) = tokio::join!(deliver_due(&studio.app), deliver_due(&studio.app));
    assert_eq!(one.unwrap() + two.unwrap(), 1, "two copies send it once");
    assert_eq!(server.taken().len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn line_breaks_have_no_place_in_addresses_and_subjects() {
    let (studio, owner, letter) = written().await;
    for (field, value) in [
        ("recipient", "ada@example.org\r\nBcc: all@example.org"),
        ("recipient", "ada@example.org, eve@example.org"),
        ("recipient", "ada"),
        ("recipient_name", "Ada\nBcc: all@example.org"),
        ("subject", "Hello\r\nBcc: all@example.org"),
        ("subject", ""),
        ("body", " "),
    ] {
        let version = hidden(owner.get(&letter).await.page(), "version");
        let mut fields = vec![
            ("version", version.as_str()),
            ("recipient", "ada@example.org"),
            ("recipient_name", "Ada"),
            ("subject", "Hello"),
            ("body", "Text"),
        ];
        fields.retain(|(name, _)| *name != field);
        fields.push((field, value));
        let answer = owner.post(&letter, &fields).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field} {value}");
    }
    let raw = sqlx::query("UPDATE outbox SET recipient = E'a@b.c\\nBcc: d@e.f'")
        .execute(&studio.db.pool)
        .await;
    assert!(raw.is_err(), "the database refuses it too");
}

#[tokio::test(flavor = "multi_thread")]
async fn templates_are_edited_safely() {
    let (_studio, owner, _) = written().await;
    let place = "/studio/letters/reminder";
    for (body, message) in [
        ("Dear {clinet}", "{clinet} stands for nothing here. Known are {client}"),
        ("Dear {client", "A brace is not closed"),
        ("{link}", "stands for nothing here"),
    ] {
        let fields = [("version", "0"), ("subject", "Open"), ("body", body)];
        let refused = owner.post(place, &fields).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{body}");
        assert!(refused.body.contains(message), "{message}");
        assert!(refused.body.contains(body), "what was typed is kept");
    }
    let fields = [("version", "0"), ("subject", "Open: {open}"), ("body", "Dear {client} <b>")];
    let seen = owner.post(&format!("{place}/preview"), &fields).await;
    assert!(seen.page().contains("Open: 161.99 EUR"));
    assert!(seen.body.contains("Dear Ada Quill &#60;b&#62;"));
    owner.post(place, &fields).await.led_to();
    assert_eq!(
        owner.post(place, &fields).await.status,
        StatusCode::CONFLICT,
        "made from an older one"
    );
    owner.post(&format!("{place}/reset"), &[]).await.led_to();
    assert!(owner.get(place).await.page().contains("Perhaps it slipped through"));
}

#[tokio::test(flavor = "multi_thread")]
async fn letters_are_the_owners_and_the_password_is_never_shown() {
    let (studio, owner, letter) = written().await;
    let maker = studio.maker().await;
    for path in [letter.as_str(), "/letters", "/studio/letters", "/studio/post-office"] {
        assert_eq!(maker.get(path).await.status, StatusCode::FORBIDDEN, "{path}");
    }
    let fields = [
        ("version", "1"),
        ("transport", "smtp"),
        ("host", "smtp.example.org"),
        ("port", "587"),
        ("security", "starttls"),
        ("login", "studio"),
        ("password", "a very secret word"),
        ("from_email", "studio@example.org"),
    ];
    owner.post("/studio/post-office", &fields).await.led_to();
    assert!(!owner.get("/studio/post-office").await.page().contains("a very secret word"));
    let mut kept = fields.to_vec();
    kept[0].1 = "2";
    kept.retain(|(name, _)| *name != "password");
    owner.post("/studio/post-office", &kept).await.led_to();
    // It is nowhere in the database, and what is kept opens with the key alone.
    assert_eq!(one(&studio, "SELECT password FROM post_office").await, "");
    let row: String =
        one(&studio, "SELECT encode(sealed, 'escape') || post_office::text FROM post_office").await;
    assert!(!row.contains("secret"), "{row}");
    assert!(owner.get("/studio/post-office").await.page().contains("sealed with a key"));
    kept[0].1 = "3";
    for field in &mut kept {
        if field.0 == "security" {
            field.1 = "none";
        }
    }
    let open = owner.post("/studio/post-office", &kept).await;
    assert_eq!(open.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(open.body.contains("A password is not sent over an open line"));
}
