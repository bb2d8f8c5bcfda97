//! Passwords: argon2id, hashed away from the threads that serve pages.

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};

/// Why a password was not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PasswordRefusal {
    /// Too short to withstand guessing.
    #[error("A password needs at least 10 characters; a few words in a row do well.")]
    TooShort,
    /// Longer than anybody types.
    #[error("A password may have at most 200 characters.")]
    TooLong,
    /// The hash could not be made.
    #[error("The password could not be kept; try again.")]
    NotHashed,
}

/// Hashes a password with argon2id (the crate's default parameters, which follow
/// RFC 9106's second recommended option in spirit: 19 MiB, two passes, one lane).
pub async fn hash_password(password: String) -> Result<String, PasswordRefusal> {
    match password.chars().count() {
        0..10 => return Err(PasswordRefusal::TooShort),
        201.. => return Err(PasswordRefusal::TooLong),
        _ => {}
    }
    tokio::task::spawn_blocking(move || {
        Argon2::default().hash_password(password.as_bytes()).map(|hash| hash.to_string())
    })
    .await
    .map_err(|_| PasswordRefusal::NotHashed)?
    .map_err(|_| PasswordRefusal::NotHashed)
}

/// Whether a password belongs to a hash. With no hash the same work is done, so
/// that a stranger cannot tell by the time which names exist.
pub(super) async fn is_right(password: String, hash: Option<String>) -> bool {
    const NOBODYS: &str = "$argon2id$v=19$m=19456,t=2,p=1$bm9ib2R5IHNpZ25zIGlu$1kqQeT0cD0C2U3dKcJd4hlGQvZ0A0mEoC9kYVd7B7gE";
    let known = hash.is_some();
    let hash = hash.unwrap_or_else(|| NOBODYS.to_owned());
    let right = tokio::task::spawn_blocking(move || {
        PasswordHash::new(&hash).is_ok_and(|parsed| {
            Argon2::default().verify_password(password.as_bytes(), &parsed).is_ok()
        })
    })
    .await
    .unwrap_or(false);
    right && known
}
