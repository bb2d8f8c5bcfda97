//! The eight characters of a ticket's address.

use std::fmt;
use std::str::FromStr;

use uuid::Uuid;

/// Crockford's base 32 (Douglas Crockford, "Base 32", 2002): digits and capitals without
/// I, L, O and U, so that a code can be read aloud and typed.
const SYMBOLS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// A ticket's code: forty random bits.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Code(String);

impl Code {
    /// A code that nobody can guess from another one.
    #[must_use]
    pub fn random() -> Self {
        let bytes = Uuid::new_v4().into_bytes();
        // The first five bytes of a random UUID are random throughout (RFC 9562, section 5.4).
        let bits = bytes.iter().take(5).fold(0_u64, |bits, byte| bits << 8 | u64::from(*byte));
        let symbol = |n: u32| char::from(SYMBOLS[(bits >> (35 - 5 * n) & 31) as usize]);
        Self((0..8).map(symbol).collect())
    }

    /// The characters.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for Code {
    type Err = ();

    /// Reads a code as it was typed: small letters and hyphens are fine, and what looks like
    /// a digit is taken for it.
    fn from_str(typed: &str) -> Result<Self, ()> {
        let read: Option<String> = typed
            .chars()
            .filter(|c| !matches!(c, '-' | ' '))
            .map(|c| match c.to_ascii_uppercase() {
                'O' => Some('0'),
                'I' | 'L' => Some('1'),
                c if c.is_ascii() && SYMBOLS.contains(&(c as u8)) => Some(c),
                _ => None,
            })
            .collect();
        read.filter(|code| code.len() == 8).map(Self).ok_or(())
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_read_back_however_it_is_typed() {
        let code = Code::random();
        assert_eq!(code.as_str().len(), 8);
        assert_eq!(code.as_str().parse(), Ok(code.clone()));
        assert_eq!(code.as_str().to_lowercase().parse(), Ok(code));
        assert_eq!("oil0-7k3m".parse(), Ok(Code("01107K3M".to_owned())));
    }

    #[test]
    fn what_is_no_code_is_not_taken_for_one() {
        for typed in ["", "1042-3", "7K3M9QX", "7K3M9QXAA", "7K3M9QXU", "7K3M9QX\u{e9}"] {
            assert_eq!(typed.parse::<Code>(), Err(()), "{typed}");
        }
    }
}
