//! What was computed lately, kept in memory by what it follows from, so that it is never stale.

use std::collections::{HashMap, VecDeque};
use std::sync::Arc;

/// The newest answers, at most so many; an older one makes room.
#[derive(Debug)]
pub struct Lately<V> {
    most: usize,
    answers: HashMap<String, Arc<V>>,
    /// In the order in which they came.
    order: VecDeque<String>,
}

impl<V> Lately<V> {
    /// Keeps at most so many.
    #[must_use]
    pub fn at_most(most: usize) -> Self {
        Self { most, answers: HashMap::new(), order: VecDeque::new() }
    }

    /// What follows from `key`, if it is kept.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<Arc<V>> {
        self.answers.get(key).cloned()
    }

    /// Keeps what follows from `key`.
    pub fn keep(&mut self, key: String, answer: Arc<V>) {
        if self.answers.insert(key.clone(), answer).is_none() {
            self.order.push_back(key);
        }
        while self.order.len() > self.most {
            if let Some(oldest) = self.order.pop_front() {
                self.answers.remove(&oldest);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn old_ones_make_room_and_the_same_takes_one_place() {
        let mut lately = Lately::at_most(3);
        for n in 0..5 {
            lately.keep(n.to_string(), Arc::new(n));
            lately.keep(n.to_string(), Arc::new(n));
        }
        assert_eq!((lately.answers.len(), lately.order.len()), (3, 3));
        assert_eq!(lately.get("1"), None);
        assert_eq!(lately.get("2").as_deref(), Some(&2));
    }
}
