//! Sealing what must not lie open in the database, with a key that lies in a file beside it.
//!
//! Whoever reads the database or one of its back-ups alone reads no password. The seal is
//! XChaCha20-Poly1305 (draft-irtf-cfrg-xchacha), bound to what is sealed, so that one sealed
//! thing cannot be put in the place of another.

use std::fs;
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chacha20poly1305::aead::{Aead, KeyInit, Payload};
use chacha20poly1305::{XChaCha20Poly1305, XNonce};
use rand::RngCore;
use sha2::{Digest, Sha256};

const KEY_BYTES: usize = 32;
const NONCE_BYTES: usize = 24;
/// Tells keys apart without telling anything about them.
const MARK_BYTES: usize = 4;
/// The first byte of everything sealed in this way.
const SHAPE: u8 = 1;

/// Where secrets are sealed and opened. Cheap to clone.
#[derive(Clone)]
pub struct Vault {
    key: Option<Arc<[u8; KEY_BYTES]>>,
    place: Option<Arc<PathBuf>>,
}

impl std::fmt::Debug for Vault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Vault({})", if self.key.is_some() { "with a key" } else { "without a key" })
    }
}

/// Why something could not be sealed or opened.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum VaultFault {
    /// There is no key.
    #[error("there is no key file here")]
    NoKey,
    /// It was sealed with another key.
    #[error("it was sealed with another key than the one in the key file")]
    OtherKey,
    /// It is damaged, or was sealed as something else.
    #[error("what is kept is damaged")]
    Damaged,
}

impl Vault {
    /// Without a key: nothing can be sealed or opened.
    #[must_use]
    pub const fn none() -> Self {
        Self { key: None, place: None }
    }

    /// With a key at hand.
    #[must_use]
    pub fn with_key(key: [u8; KEY_BYTES]) -> Self {
        Self { key: Some(Arc::new(key)), place: None }
    }

    /// With the key in a file, which is made, readable by its owner alone, when it is not there.
    ///
    /// # Errors
    /// When the file cannot be read or made, or holds no key.
    pub fn at(place: &Path) -> io::Result<Self> {
        let key = match fs::read(place) {
            Ok(bytes) => key_of(&bytes).ok_or_else(|| {
                let words = format!("{} holds no key of Pourday", place.display());
                io::Error::new(io::ErrorKind::InvalidData, words)
            })?,
            Err(fault) if fault.kind() == io::ErrorKind::NotFound => make(place)?,
            Err(fault) => return Err(fault),
        };
        Ok(Self { key: Some(Arc::new(key)), place: Some(Arc::new(place.to_owned())) })
    }

    /// Whether there is a key.
    #[must_use]
    pub const fn has_key(&self) -> bool {
        self.key.is_some()
    }

    /// The file of the key, when it is in one.
    #[must_use]
    pub fn place(&self) -> Option<&Path> {
        self.place.as_deref().map(PathBuf::as_path)
    }

    /// Seals a text as what it is.
    ///
    /// # Errors
    /// When there is no key.
    pub fn seal(&self, what: &str, text: &str) -> Result<Vec<u8>, VaultFault> {
        let key = self.key.as_ref().ok_or(VaultFault::NoKey)?;
        let mut nonce = [0_u8; NONCE_BYTES];
        rand::rng().fill_bytes(&mut nonce);
        let payload = Payload { msg: text.as_bytes(), aad: what.as_bytes() };
        let sealed = XChaCha20Poly1305::new(key.as_slice().into())
            .encrypt(&XNonce::from(nonce), payload)
            .map_err(|_| VaultFault::Damaged)?;
        Ok([&[SHAPE], &mark(key)[..], &nonce, &sealed].concat())
    }

    /// Opens what was sealed as `what`.
    ///
    /// # Errors
    /// When there is no key, another one, or when it was changed since.
    pub fn open(&self, what: &str, sealed: &[u8]) -> Result<String, VaultFault> {
        let key = self.key.as_ref().ok_or(VaultFault::NoKey)?;
        let (&shape, rest) = sealed.split_first().ok_or(VaultFault::Damaged)?;
        let (of, rest) = rest.split_at_checked(MARK_BYTES).ok_or(VaultFault::Damaged)?;
        let (nonce, rest) = rest.split_first_chunk::<NONCE_BYTES>().ok_or(VaultFault::Damaged)?;
        if shape != SHAPE {
            return Err(VaultFault::Damaged);
        }
        if of != mark(key) {
            return Err(VaultFault::OtherKey);
        }
        let payload = Payload { msg: rest, aad: what.as_bytes() };
        let text = XChaCha20Poly1305::new(key.as_slice().into())
            .decrypt(&XNonce::from(*nonce), payload)
            .map_err(|_| VaultFault::Damaged)?;
        String::from_utf8(text).map_err(|_| VaultFault::Damaged)
    }
}

fn mark(key: &[u8; KEY_BYTES]) -> [u8; MARK_BYTES] {
    let digest = Sha256::new().chain_update(b"which key ").chain_update(key).finalize();
    let mut mark = [0_u8; MARK_BYTES];
    mark.iter_mut().zip(digest.iter()).for_each(|(to, from)| *to = *from);
    mark
}

fn key_of(bytes: &[u8]) -> Option<[u8; KEY_BYTES]> {
    bytes.try_into().ok()
}

/// Makes a key. Of two that begin at once one makes it, and the other reads that.
fn make(place: &Path) -> io::Result<[u8; KEY_BYTES]> {
    let mut key = [0_u8; KEY_BYTES];
    rand::rng().fill_bytes(&mut key);
    let half = place.with_extension(format!("{}.new", uuid::Uuid::now_v7().simple()));
    let mut file = fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(&half)?;
    file.write_all(&key)?;
    file.sync_all()?;
    let made = fs::hard_link(&half, place);
    fs::remove_file(&half)?;
    match made {
        Ok(()) => Ok(key),
        Err(fault) if fault.kind() == io::ErrorKind::AlreadyExists => {
            key_of(&fs::read(place)?).ok_or(fault)
        }
        Err(fault) => Err(fault),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    #[test]
    fn what_is_sealed_opens_with_its_key_as_what_it_is_and_not_otherwise() {
        let vault = Vault::with_key([7; 32]);
        let sealed = vault.seal("mail", "a very secret word").unwrap();
        assert!(!sealed.windows(6).any(|part| part == b"secret"));
        assert_eq!(vault.open("mail", &sealed).unwrap(), "a very secret word");
        assert_ne!(sealed, vault.seal("mail", "a very secret word").unwrap(), "never twice alike");
        assert_eq!(vault.open("other", &sealed), Err(VaultFault::Damaged));
        assert_eq!(Vault::with_key([8; 32]).open("mail", &sealed), Err(VaultFault::OtherKey));
        assert_eq!(Vault::none().open("mail", &sealed), Err(VaultFault::NoKey));
        assert_eq!(Vault::none().seal("mail", "x"), Err(VaultFault::NoKey));
        for at in 0..sealed.len() {
            let mut changed = sealed.clone();
            changed[at] ^= 1;
            assert!(vault.open("mail", &changed).is_err(), "byte {at}");
            assert!(vault.open("mail", &sealed[..at]).is_err(), "cut at {at}");
        }
    }

    #[test]
    fn a_key_file_is_made_once_for_its_owner_alone_and_read_again() {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("letters.key");
        let sealed = Vault::at(&place).unwrap().seal("mail", "word").unwrap();
        assert_eq!(fs::metadata(&place).unwrap().permissions().mode() & 0o777, 0o600);
        assert_eq!(Vault::at(&place).unwrap().open("mail", &sealed).unwrap(), "word");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is left beside it");
        fs::write(&place, b"short").unwrap();
        assert!(Vault::at(&place).unwrap_err().to_string().contains("holds no key"));
        assert!(Vault::at(&folder.path().join("no/such/folder/key")).is_err());
    }
}
