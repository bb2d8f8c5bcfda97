//! All SQL that writes letters.

use sqlx::{FromRow, PgConnection, PgExecutor, PgPool};

use crate::clock::Moment;
use crate::id::{ClientId, InvoiceId, MessageId, OrderId, PersonId};
use crate::vault::{Vault, VaultFault};

/// The way letters take.
#[derive(Clone, Debug, FromRow)]
pub(super) struct PostOfficeRow {
    pub(super) transport: String,
    pub(super) folder: String,
    pub(super) host: String,
    pub(super) port: i32,
    pub(super) security: String,
    pub(super) login: String,
    /// In clear, from before there was a key; else empty.
    pub(super) password: String,
    pub(super) sealed: Option<Vec<u8>>,
    pub(super) authority: String,
    pub(super) from_email: String,
    pub(super) reply_to: String,
    pub(super) version: i64,
}

/// As what the password is sealed.
const WHAT: &str = "password of the mail server";

/// How the password is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Kept {
    /// There is none.
    Nothing,
    /// Sealed, and the key at hand opens it.
    Sealed,
    /// In clear, for want of a key.
    Open,
    /// Sealed, and it cannot be opened.
    Shut(VaultFault),
}

impl PostOfficeRow {
    /// The password; none needed is an empty one.
    pub(super) fn password(&self, vault: &Vault) -> Result<String, VaultFault> {
        match &self.sealed {
            Some(sealed) => vault.open(WHAT, sealed),
            None => Ok(self.password.clone()),
        }
    }

    /// How the password is kept.
    pub(super) fn kept(&self, vault: &Vault) -> Kept {
        match (&self.sealed, self.password.is_empty()) {
            (None, true) => Kept::Nothing,
            (None, false) => Kept::Open,
            (Some(sealed), _) => match vault.open(WHAT, sealed) {
                Ok(_) => Kept::Sealed,
                Err(fault) => Kept::Shut(fault),
            },
        }
    }

    /// Whether anything can be sent.
    pub(super) fn is_open(&self) -> bool {
        self.transport != "off"
    }
}

pub(super) async fn post_office(db: impl PgExecutor<'_>) -> Result<PostOfficeRow, sqlx::Error> {
    sqlx::query_as("SELECT * FROM post_office").fetch_one(db).await
}

/// Seals a password that was kept in clear before there was a key; says whether there was one.
pub(super) async fn seal_kept(pool: &PgPool, vault: &Vault) -> Result<bool, sqlx::Error> {
    let mut tx = pool.begin().await?;
    let kept: String = sqlx::query_scalar("SELECT password FROM post_office FOR UPDATE")
        .fetch_one(&mut *tx)
        .await?;
    if kept.is_empty() {
        return Ok(false);
    }
    let Ok(sealed) = vault.seal(WHAT, &kept) else { return Ok(false) };
    sqlx::query("UPDATE post_office SET sealed = $1, password = ''")
        .bind(sealed)
        .execute(&mut *tx)
        .await?;
    tx.commit().await?;
    Ok(true)
}

/// A password as it is kept; nothing typed is nothing.
pub(super) fn sealed(vault: &Vault, password: &str) -> Result<Option<Vec<u8>>, VaultFault> {
    if password.is_empty() { Ok(None) } else { vault.seal(WHAT, password).map(Some) }
}

/// Changes the way letters take; an empty password leaves the one that is kept.
pub(super) async fn change_post_office(
    conn: &mut PgConnection,
    row: &PostOfficeRow,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE post_office SET transport = $1, folder = $2, host = $3, port = $4, security = $5, login = $6,
             password = CASE WHEN $7::bytea IS NULL AND $6 <> '' THEN password ELSE '' END,
             sealed = CASE WHEN $7::bytea IS NULL AND $6 <> '' THEN sealed ELSE $7 END,
             from_email = $8, reply_to = $9, authority = $11, version = version + 1
         WHERE version = $10",
    )
    .bind(&row.transport)
    .bind(&row.folder)
    .bind(&row.host)
    .bind(row.port)
    .bind(&row.security)
    .bind(&row.login)
    .bind(&row.sealed)
    .bind(&row.from_email)
    .bind(&row.reply_to)
    .bind(row.version)
    .bind(&row.authority)
    .execute(&mut *conn)
    .await?;
    if done.rows_affected() == 1 {
        // What waited for the server is tried again at once.
        sqlx::query("UPDATE outbox SET next_try_at = created_at WHERE state = 'waiting'")
            .execute(conn)
            .await?;
        return Ok(true);
    }
    Ok(false)
}

/// A template that the studio wrote itself.
#[derive(Clone, Debug, FromRow)]
pub(super) struct TemplateRow {
    pub(super) subject: String,
    pub(super) body: String,
    pub(super) version: i64,
}

pub(super) async fn template(
    db: impl PgExecutor<'_>,
    kind: &str,
) -> Result<Option<TemplateRow>, sqlx::Error> {
    sqlx::query_as("SELECT subject, body, version FROM letter_templates WHERE kind = $1")
        .bind(kind)
        .fetch_optional(db)
        .await
}

/// Keeps a template, unless somebody else changed it since `seen`; 0 is the house's own.
pub(super) async fn write_template(
    conn: &mut PgConnection,
    kind: &str,
    subject: &str,
    body: &str,
    seen: i64,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "INSERT INTO letter_templates (kind, subject, body) SELECT $1, $2, $3
         WHERE $4 = 0 OR EXISTS (SELECT 1 FROM letter_templates WHERE kind = $1)
         ON CONFLICT (kind) DO UPDATE SET subject = $2, body = $3, version = letter_templates.version + 1
         WHERE letter_templates.version = $4",
    )
    .bind(kind)
    .bind(subject)
    .bind(body)
    .bind(seen)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

pub(super) async fn drop_template(conn: &mut PgConnection, kind: &str) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM letter_templates WHERE kind = $1").bind(kind).execute(conn).await?;
    Ok(())
}

/// A letter before it is kept.
#[derive(Clone, Debug)]
pub(super) struct NewLetter {
    pub(super) kind: &'static str,
    pub(super) recipient: String,
    pub(super) recipient_name: String,
    pub(super) subject: String,
    pub(super) body: String,
    pub(super) client: ClientId,
    pub(super) order: Option<OrderId>,
    pub(super) invoice: Option<InvoiceId>,
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    letter: &NewLetter,
    person: PersonId,
    now: Moment,
) -> Result<MessageId, sqlx::Error> {
    let id = MessageId::new();
    sqlx::query(
        "INSERT INTO outbox (id, kind, recipient, recipient_name, subject, body, client_id, order_id, invoice_id, made_by,
             created_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
    )
    .bind(id)
    .bind(letter.kind)
    .bind(&letter.recipient)
    .bind(&letter.recipient_name)
    .bind(&letter.subject)
    .bind(&letter.body)
    .bind(letter.client)
    .bind(letter.order)
    .bind(letter.invoice)
    .bind(person)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(id)
}

/// A letter as it is kept.
#[derive(Clone, Debug, FromRow)]
pub(super) struct LetterRow {
    pub(super) id: MessageId,
    pub(super) kind: String,
    pub(super) state: String,
    pub(super) recipient: String,
    pub(super) recipient_name: String,
    pub(super) subject: String,
    pub(super) body: String,
    pub(super) invoice_id: Option<InvoiceId>,
    pub(super) message_id: String,
    pub(super) sent_at: Option<Moment>,
    pub(super) next_try_at: Option<Moment>,
    pub(super) attempts: i32,
    pub(super) trouble: String,
    pub(super) version: i64,
}

const LETTER: &str =
    "SELECT id, kind, state, recipient, recipient_name, subject, body, invoice_id, message_id,
    sent_at, next_try_at, attempts, trouble, version FROM outbox";

pub(super) async fn letter(
    db: impl PgExecutor<'_>,
    id: MessageId,
) -> Result<LetterRow, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!("{LETTER} WHERE id = $1")))
        .bind(id)
        .fetch_one(db)
        .await
}

/// The letter as it went out.
pub(super) async fn sent_message(
    db: impl PgExecutor<'_>,
    id: MessageId,
) -> Result<Option<Vec<u8>>, sqlx::Error> {
    sqlx::query_scalar("SELECT sent_message FROM outbox WHERE id = $1").bind(id).fetch_one(db).await
}

pub(super) async fn lock(conn: &mut PgConnection, id: MessageId) -> Result<LetterRow, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!("{LETTER} WHERE id = $1 FOR UPDATE")))
        .bind(id)
        .fetch_one(conn)
        .await
}

pub(super) async fn change(
    conn: &mut PgConnection,
    id: MessageId,
    (recipient, recipient_name): (&str, &str),
    (subject, body): (&str, &str),
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE outbox SET recipient = $2, recipient_name = $3, subject = $4, body = $5, version = version + 1
         WHERE id = $1",
    )
    .bind(id)
    .bind(recipient)
    .bind(recipient_name)
    .bind(subject)
    .bind(body)
    .execute(conn)
    .await?;
    Ok(())
}

/// Puts a letter in the post; it gets the number that it keeps at every try.
pub(super) async fn post(
    conn: &mut PgConnection,
    id: MessageId,
    message_id: &str,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE outbox SET state = 'waiting', message_id = $2, next_try_at = $3, attempts = 0, trouble = '',
             claimed_until = NULL, version = version + 1 WHERE id = $1",
    )
    .bind(id)
    .bind(message_id)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

pub(super) async fn throw_away(conn: &mut PgConnection, id: MessageId) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE outbox SET state = 'thrown_away', version = version + 1 WHERE id = $1")
        .bind(id)
        .execute(conn)
        .await?;
    Ok(())
}

/// Takes the next letter that is due, for so long that a copy of the program which died with it
/// gives it back.
pub(super) async fn claim(
    pool: &PgPool,
    now: Moment,
    until: Moment,
) -> Result<Option<LetterRow>, sqlx::Error> {
    sqlx::query_as(
        "UPDATE outbox SET claimed_until = $2, attempts = attempts + 1 WHERE id = (
             SELECT id FROM outbox WHERE state = 'waiting' AND next_try_at <= $1
               AND (claimed_until IS NULL OR claimed_until < $1)
             ORDER BY next_try_at, id LIMIT 1 FOR UPDATE SKIP LOCKED)
         RETURNING id, kind, state, recipient, recipient_name, subject, body, invoice_id, message_id,
             sent_at, next_try_at, attempts, trouble, version",
    )
    .bind(now)
    .bind(until)
    .fetch_optional(pool)
    .await
}

pub(super) async fn sent(
    pool: &PgPool,
    id: MessageId,
    message: &[u8],
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE outbox SET state = 'sent', sent_at = $2, sent_message = $3, claimed_until = NULL, trouble = '',
             next_try_at = NULL, version = version + 1 WHERE id = $1",
    )
    .bind(id)
    .bind(now)
    .bind(message)
    .execute(pool)
    .await?;
    Ok(())
}

/// Notes why a letter did not get away; it is tried again at a moment, or given up.
pub(super) async fn stuck(
    pool: &PgPool,
    id: MessageId,
    trouble: &str,
    again: Option<Moment>,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE outbox SET state = CASE WHEN $3::timestamptz IS NULL THEN 'given_up' ELSE 'waiting' END,
             next_try_at = $3, trouble = $2, claimed_until = NULL, version = version + 1 WHERE id = $1",
    )
    .bind(id)
    .bind(trouble)
    .bind(again)
    .execute(pool)
    .await?;
    Ok(())
}
