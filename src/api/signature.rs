//! Signing what a webhook carries: HTTP Message Signatures (RFC 9421) with HMAC-SHA256 over the
//! content's digest (RFC 9530), so that a receiver knows who sent it and that nothing was changed.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};

/// The value of `Content-Digest` for a body.
pub(super) fn content_digest(body: &[u8]) -> String {
    format!("sha-256=:{}:", STANDARD.encode(Sha256::digest(body)))
}

/// The values of `Signature-Input` and `Signature` over some fields of a message.
pub(super) fn sign(
    secret: &[u8],
    label: &str,
    fields: &[(&str, &str)],
    created: i64,
    key_id: &str,
) -> Option<(String, String)> {
    let names: Vec<String> = fields.iter().map(|(name, _)| format!("\"{name}\"")).collect();
    let parameters = format!("({});created={created};keyid=\"{key_id}\"", names.join(" "));
    let mut base = String::new();
    for (name, value) in fields {
        base.push_str(&format!("\"{name}\": {value}\n"));
    }
    base.push_str(&format!("\"@signature-params\": {parameters}"));
    let mut mac = Hmac::<Sha256>::new_from_slice(secret).ok()?;
    mac.update(base.as_bytes());
    let signature = STANDARD.encode(mac.finalize().into_bytes());
    Some((format!("{label}={parameters}"), format!("{label}=:{signature}:")))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
mod tests {
    use super::*;

    /// RFC 9421, B.2.5: signing a request using hmac-sha256.
    #[test]
    fn the_example_of_the_standard_comes_out() {
        let secret = STANDARD
            .decode("uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ==")
            .unwrap();
        let fields = [
            ("date", "Tue, 20 Apr 2021 02:07:55 GMT"),
            ("@authority", "example.com"),
            ("content-type", "application/json"),
        ];
        let (input, signature) =
            sign(&secret, "sig-b25", &fields, 1_618_884_473, "test-shared-secret").unwrap();
        assert_eq!(
            input,
            "sig-b25=(\"date\" \"@authority\" \"content-type\");created=1618884473;keyid=\"test-shared-secret\""
        );
        assert_eq!(signature, "sig-b25=:pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=:");
    }

    /// RFC 9530, appendix D: the digest of `{"hello": "world"}` and a line feed.
    #[test]
    fn the_digest_is_that_of_the_standard() {
        assert_eq!(
            content_digest(b"{\"hello\": \"world\"}\n"),
            "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"
        );
    }
}
