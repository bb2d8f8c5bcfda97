//! What is done to letters, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;

use super::forms::LetterForm;
use super::kinds::Kind;
use super::paths::Letter;
use super::store::{self, LetterRow, NewLetter, PostOfficeRow};
use super::template::fill;
use super::view;
use crate::audit;
use crate::id::{InvoiceId, MessageId};
use crate::people::Signed;
use crate::quotes::{self, Quotes};
use crate::vault::Vault;
use crate::web::{Fault, Refused, Show};

/// What a letter is about.
#[derive(Clone, Copy, Debug)]
pub(super) enum About {
    Order(i32),
    Invoice(InvoiceId),
}

/// Where the client's page is reached, and what signs its address.
#[derive(Clone, Debug)]
pub(super) struct Site<'a> {
    pub(super) base: String,
    pub(super) secret: &'a [u8],
}

/// Writes the draft of a letter from its template.
pub(super) async fn write(
    conn: &mut PgConnection,
    signed: &Signed,
    kind: &'static Kind,
    about: About,
    site: &Site<'_>,
) -> Result<MessageId, Fault> {
    let (subject, body) = match store::template(&mut *conn, kind.name).await? {
        Some(own) => (own.subject, own.body),
        None => (kind.subject.to_owned(), kind.body.to_owned()),
    };
    let show = &signed.frame.show;
    let (values, mut letter) = match about {
        About::Order(number) => of_order(conn, signed, kind, number, site).await?,
        About::Invoice(id) => of_invoice(conn, show, kind, id).await?,
    };
    let value = |name: &str| -> &str {
        match name {
            "studio" => &signed.frame.studio,
            name => values.iter().find(|(known, _)| *known == name).map_or("", |(_, value)| value),
        }
    };
    let filled = |text: &str| {
        fill(text, &kind.known(), value).map_err(|fault| {
            Refused::conflict(format!("The template for this letter is broken: {fault}"))
        })
    };
    letter.subject = filled(&subject)?.replace(['\r', '\n'], " ");
    letter.body = filled(&body)?;
    let id = store::insert(conn, &letter, signed.person, signed.now).await?;
    note(conn, signed, "wrote a letter", id, kind.name).await?;
    Ok(id)
}

/// Begins the letter of a quote that was just sent, and tells its place; when the client has no
/// address, or the template cannot be filled, the place of the link.
pub(super) async fn after_quote(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    site: &Site<'_>,
) -> Result<String, Fault> {
    let place = Quotes(number).to_string();
    let client = view::order(&mut *conn, number, signed.now).await?;
    let Some(kind) = Kind::named("quote").filter(|_| !client.email.is_empty()) else {
        return Ok(place);
    };
    match write(conn, signed, kind, About::Order(number), site).await {
        Ok(id) => Ok(Letter(id).to_string()),
        Err(Fault::Refused(_)) => Ok(place),
        Err(fault) => Err(fault),
    }
}

type Values = Vec<(&'static str, String)>;

async fn of_order(
    conn: &mut PgConnection,
    signed: &Signed,
    kind: &'static Kind,
    number: i32,
    site: &Site<'_>,
) -> Result<(Values, NewLetter), Fault> {
    if kind.with_invoice {
        return Err(
            Refused::conflict("This letter is about an invoice; write it from there.").into()
        );
    }
    let show = &signed.frame.show;
    let order = view::order(&mut *conn, number, signed.now).await?;
    if kind.name == "quote" && order.total.is_none() {
        return Err(Refused::conflict(
            "No quote of this order is with the client. Send one first.",
        )
        .into());
    }
    let link = order.link.and_then(|link| quotes::path_of(site.secret, link));
    let link = link.map(|path| format!("{}{path}", site.base)).unwrap_or_default();
    if link.is_empty() && kind.body.contains("{link}") {
        return Err(Refused::conflict(
            "The client has no page that works. Make its address under Quotes and link first.",
        )
        .into());
    }
    let total = order
        .total
        .zip(order.currency.as_deref())
        .map(|(total, currency)| show.money_text(total, currency));
    let values = vec![
        ("client", order.client.clone()),
        ("order", order.number.to_string()),
        ("title", order.title.clone()),
        ("total", total.unwrap_or_default()),
        ("valid_until", order.valid_until.map(|day| show.day_text(day)).unwrap_or_default()),
        ("link", link),
    ];
    let letter = NewLetter {
        kind: kind.name,
        recipient: order.email,
        recipient_name: order.client,
        subject: String::new(),
        body: String::new(),
        client: order.client_id,
        order: Some(order.id),
        invoice: None,
    };
    Ok((values, letter))
}

async fn of_invoice(
    conn: &mut PgConnection,
    show: &Show,
    kind: &'static Kind,
    id: InvoiceId,
) -> Result<(Values, NewLetter), Fault> {
    let invoice = view::invoice(&mut *conn, id).await?;
    let Some(label) = invoice.label.filter(|_| kind.with_invoice) else {
        return Err(Refused::conflict("A draft goes to nobody. Issue it first.").into());
    };
    let values = vec![
        ("client", invoice.client.clone()),
        ("number", label),
        ("total", show.money_text(invoice.total, &invoice.currency)),
        ("open", show.money_text(invoice.open, &invoice.currency)),
        ("due", invoice.due_on.map(|day| show.day_text(day)).unwrap_or_default()),
    ];
    let letter = NewLetter {
        kind: kind.name,
        recipient: invoice.email,
        recipient_name: invoice.client,
        subject: String::new(),
        body: String::new(),
        client: invoice.client_id,
        order: invoice.order_id,
        invoice: Some(invoice.id),
    };
    Ok((values, letter))
}

async fn note(
    conn: &mut PgConnection,
    signed: &Signed,
    action: &str,
    id: MessageId,
    kind: &str,
) -> Result<(), Fault> {
    let subject = format!("letter:{id}");
    Ok(audit::note(
        conn,
        signed.now,
        Some(signed.person),
        action,
        &subject,
        json!({ "kind": kind }),
    )
    .await?)
}

async fn hold(
    conn: &mut PgConnection,
    id: MessageId,
    seen: i64,
    states: &[&str],
) -> Result<LetterRow, Fault> {
    let letter = store::lock(conn, id).await?;
    if !states.contains(&letter.state.as_str()) {
        let why = match letter.state.as_str() {
            "sent" => "This letter has been sent already; it cannot be called back.",
            "waiting" => "This letter is in the post already.",
            _ => "This letter was thrown away.",
        };
        return Err(Refused::conflict(why).into());
    }
    if letter.version != seen {
        return Err(Refused::stale("this letter").into());
    }
    Ok(letter)
}

/// Changes a letter that has not been sent; one that waits for a server goes back to the desk.
pub(super) async fn save(
    conn: &mut PgConnection,
    id: MessageId,
    typed: &LetterForm,
    seen: i64,
) -> Result<(), Fault> {
    hold(conn, id, seen, &["draft", "given_up"]).await?;
    let to = (typed.recipient.as_str(), typed.recipient_name.as_str());
    Ok(store::change(conn, id, to, (&typed.subject, &typed.body)).await?)
}

/// Puts a letter in the post as it is typed.
pub(super) async fn send(
    conn: &mut PgConnection,
    signed: &Signed,
    id: MessageId,
    typed: &LetterForm,
    seen: i64,
) -> Result<(), Fault> {
    let letter = hold(conn, id, seen, &["draft", "given_up"]).await?;
    if typed.recipient.is_empty() {
        return Err(Refused::conflict("There is no address it could go to. Write it in.")
            .at("recipient")
            .into());
    }
    let office = store::post_office(&mut *conn).await?;
    if !office.is_open() {
        return Err(Refused::conflict(
            "No server is set up that could send it. Save what you changed, and set one up under Studio, Post.",
        )
        .into());
    }
    let message_id = if letter.message_id.is_empty() {
        let domain = office.from_email.rsplit_once('@').map_or("localhost", |(_, domain)| domain);
        format!("<{}@{domain}>", id.0.simple())
    } else {
        letter.message_id
    };
    let to = (typed.recipient.as_str(), typed.recipient_name.as_str());
    store::change(&mut *conn, id, to, (&typed.subject, &typed.body)).await?;
    store::post(conn, id, &message_id, signed.now).await?;
    note(conn, signed, "sent a letter", id, &letter.kind).await
}

/// Throws a letter away that has not been sent. One that waits for a server can be stopped.
pub(super) async fn throw_away(
    conn: &mut PgConnection,
    signed: &Signed,
    id: MessageId,
    seen: i64,
) -> Result<(), Fault> {
    let letter = hold(conn, id, seen, &["draft", "given_up", "waiting"]).await?;
    store::throw_away(conn, id).await?;
    note(conn, signed, "threw a letter away", id, &letter.kind).await
}

/// Changes the way letters take.
pub(super) async fn change_post_office(
    conn: &mut PgConnection,
    signed: &Signed,
    row: &PostOfficeRow,
    vault: &Vault,
) -> Result<(), Fault> {
    let sealed = store::sealed(vault, &row.password).map_err(|_| {
        Refused::input(
            "password",
            "There is no key file to seal a password with, so it was not kept. Start Pourday with --key-file (or POURDAY_KEY_FILE), the same file for every copy of the program, and type it again.",
        )
    })?;
    let row = &PostOfficeRow { sealed, password: String::new(), ..row.clone() };
    if !store::change_post_office(conn, row).await? {
        return Err(Refused::stale("these settings").into());
    }
    let detail = json!({ "transport": row.transport, "host": row.host });
    Ok(audit::note(conn, signed.now, Some(signed.person), "changed", "post office", detail).await?)
}

/// Keeps the studio's own template.
pub(super) async fn save_template(
    conn: &mut PgConnection,
    signed: &Signed,
    kind: &Kind,
    (subject, body): (&str, &str),
    seen: i64,
) -> Result<(), Fault> {
    if !store::write_template(conn, kind.name, subject, body, seen).await? {
        return Err(Refused::stale("this template").into());
    }
    let subject = format!("template:{}", kind.name);
    Ok(audit::note(conn, signed.now, Some(signed.person), "changed", &subject, json!({})).await?)
}
