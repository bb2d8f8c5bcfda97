//! Logs that were read and compared lately: to read one takes a moment, and its pages are asked
//! for again and again.

use std::collections::VecDeque;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

use super::sight::Content;

/// At most so many are kept, the newest; a reading a second for a day is about 4 MB.
const MOST: usize = 8;

/// A log by all that it follows from.
type Keyed = (String, Arc<Content>);

/// In the order in which they came.
static KNOWN: LazyLock<Mutex<VecDeque<Keyed>>> = LazyLock::new(Mutex::default);

/// A log as it was read; it is read where it is not known. Not for a serving thread.
pub(super) fn known(key: String, read: impl FnOnce() -> Content) -> Arc<Content> {
    let kept = || KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some((_, content)) = kept().iter().find(|(known, _)| *known == key) {
        return content.clone();
    }
    let content = Arc::new(read());
    let mut kept = kept();
    kept.push_back((key, content.clone()));
    if kept.len() > MOST {
        kept.pop_front();
    }
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
