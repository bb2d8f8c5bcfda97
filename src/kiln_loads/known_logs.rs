//! Logs that were read and compared lately: to read one takes a moment, and its pages are asked
//! for again and again.

use std::sync::{Arc, LazyLock, Mutex, PoisonError};

use super::sight::Content;
use crate::lately::Lately;

/// At most so many are kept, the newest; a reading a second for a day is about 4 MB.
const MOST: usize = 8;

/// By all that they follow from.
static KNOWN: LazyLock<Mutex<Lately<Content>>> =
    LazyLock::new(|| Mutex::new(Lately::at_most(MOST)));

/// A log as it was read; it is read where it is not known. Not for a serving thread.
pub(super) fn known(key: String, read: impl FnOnce() -> Content) -> Arc<Content> {
    let kept = || KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(content) = kept().get(&key) {
        return content;
    }
    let content = Arc::new(read());
    kept().keep(key, content.clone());
    content
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_is_read_once_until_others_have_taken_its_place() {
        let content = |sample: &str| Content {
            sample: sample.to_owned(),
            columns: Vec::new(),
            read: Err(String::new()),
        };
        let sample = |key: &str, text: &str| known(key.to_owned(), || content(text)).sample.clone();
        assert_eq!(sample("a log", "first"), "first");
        assert_eq!(sample("a log", "again"), "first");
        for n in 0..MOST {
            sample(&format!("log {n}"), "other");
        }
        assert_eq!(sample("a log", "anew"), "anew");
    }
}
