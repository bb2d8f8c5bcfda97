//! The private address of a feed: one that cannot be guessed.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use uuid::Uuid;

use crate::id::FeedId;

/// 144 bits.
const CODE_BYTES: usize = 18;

fn mac(secret: &[u8], id: FeedId) -> Option<Hmac<Sha256>> {
    let mut mac = Hmac::<Sha256>::new_from_slice(secret).ok()?;
    mac.update(b"calendar feed ");
    mac.update(id.0.as_bytes());
    Some(mac)
}

/// The address of a feed: its id, and a code that only this studio can make for it.
pub(in crate::plan) fn path_of(secret: &[u8], id: FeedId) -> Option<String> {
    let code = mac(secret, id)?.finalize().into_bytes();
    let code = URL_SAFE_NO_PAD.encode(code.get(..CODE_BYTES)?);
    Some(format!("/calendar/{}.{code}.ics", id.0.simple()))
}

/// The id in a token whose code is right; compared in constant time.
pub(super) fn opened(secret: &[u8], token: &str) -> Option<FeedId> {
    let (id, code) = token.split_once('.')?;
    let id = FeedId(Uuid::try_parse(id).ok()?);
    let code = URL_SAFE_NO_PAD.decode(code).ok()?;
    if code.len() != CODE_BYTES {
        return None;
    }
    mac(secret, id)?.verify_truncated_left(&code).ok()?;
    Some(id)
}
