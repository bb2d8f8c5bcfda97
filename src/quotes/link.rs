//! A client's private link: an address that cannot be guessed, and ends.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use sqlx::{FromRow, PgExecutor};
use uuid::Uuid;

use crate::clock::Moment;
use crate::id::{LinkId, OrderId};

/// How long a link lasts.
pub const LINK_DAYS: i64 = 60;
/// 144 bits of the code; guessing one takes longer than the link lasts by far.
const CODE_BYTES: usize = 18;
const _: () = assert!(CODE_BYTES * 8 >= 128);

/// A link of an order.
#[derive(Clone, Copy, Debug, FromRow)]
pub struct LinkRow {
    /// Which.
    pub id: LinkId,
    /// The order it shows.
    pub order_id: OrderId,
    /// Its number.
    pub number: i32,
    /// When it was made.
    pub made_at: Moment,
    /// When it ends.
    pub expires_at: Moment,
    /// When the client first opened it.
    pub opened_at: Option<Moment>,
}

fn mac(secret: &[u8], id: LinkId) -> Option<Hmac<Sha256>> {
    let mut mac = Hmac::<Sha256>::new_from_slice(secret).ok()?;
    mac.update(b"client link ");
    mac.update(id.0.as_bytes());
    Some(mac)
}

/// The address of a link: its id, and a code that only this studio can make for it.
#[must_use]
pub fn path_of(secret: &[u8], id: LinkId) -> Option<String> {
    let code = mac(secret, id)?.finalize().into_bytes();
    let code = URL_SAFE_NO_PAD.encode(code.get(..CODE_BYTES)?);
    Some(format!("/c/{}.{code}", id.0.simple()))
}

/// The id in a token whose code is right; compared in constant time.
fn opened(secret: &[u8], token: &str) -> Option<LinkId> {
    let (id, code) = token.split_once('.')?;
    let id = LinkId(Uuid::try_parse(id).ok()?);
    let code = URL_SAFE_NO_PAD.decode(code).ok()?;
    if code.len() != CODE_BYTES {
        return None;
    }
    mac(secret, id)?.verify_truncated_left(&code).ok()?;
    Some(id)
}

/// Finds the link of a token, if it is right, not revoked, and has not ended.
pub async fn find_link(
    db: impl PgExecutor<'_>,
    secret: &[u8],
    token: &str,
    now: Moment,
) -> Result<Option<LinkRow>, sqlx::Error> {
    let Some(id) = opened(secret, token) else { return Ok(None) };
    sqlx::query_as(
        "SELECT l.id, l.order_id, o.number, l.made_at, l.expires_at, l.opened_at
         FROM client_links l JOIN orders o ON o.id = l.order_id
         WHERE l.id = $1 AND l.revoked_at IS NULL AND l.expires_at > $2",
    )
    .bind(id)
    .bind(now)
    .fetch_optional(db)
    .await
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
mod tests {
    use super::*;

    #[test]
    fn a_link_opens_with_its_own_code_and_no_other() {
        let id = LinkId::new();
        let path = path_of(b"secret", id).unwrap();
        let token = path.strip_prefix("/c/").unwrap();
        assert_eq!(opened(b"secret", token), Some(id));
        assert_eq!(opened(b"other secret", token), None);
        let (_, code) = token.split_once('.').unwrap();
        let stranger = format!("{}.{code}", LinkId::new().0.simple());
        assert_eq!(opened(b"secret", &stranger), None, "a code belongs to one id");
        for broken in
            ["", ".", "x.y", &token[..token.len() - 1], &token[..33], &format!("{token}A")]
        {
            assert_eq!(opened(b"secret", broken), None, "{broken}");
        }
    }
}
