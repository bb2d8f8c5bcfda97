//! Parts of long lists on a page that has several.

/// The part of a list that is shown.
pub(crate) struct Part {
    from: usize,
    to: usize,
    /// How long the list is.
    pub(crate) all: usize,
    /// The address of the part before.
    pub(crate) earlier: Option<String>,
    /// The address of the part after.
    pub(crate) later: Option<String>,
}

impl Part {
    /// The `page`th part of a list, counted from 1 and said under the list's name in the address.
    pub(super) fn new(list: &str, page: &str, all: usize, size: usize, base: &str) -> Self {
        let pages = all.div_ceil(size).max(1);
        let page = page.parse().unwrap_or(1).clamp(1, pages);
        let joint = if base.contains('?') { '&' } else { '?' };
        let to = |n: usize| format!("{base}{joint}{list}={n}#{list}");
        Self {
            from: (page - 1) * size,
            to: (page * size).min(all),
            all,
            earlier: (page > 1).then(|| to(page - 1)),
            later: (page < pages).then(|| to(page + 1)),
        }
    }

    /// That part of the list.
    pub(super) fn of<'a, T>(&self, list: &'a [T]) -> &'a [T] {
        list.get(self.from..self.to).unwrap_or(list)
    }

    /// The same part, to be changed.
    pub(super) fn of_mut<'a, T>(&self, list: &'a mut [T]) -> &'a mut [T] {
        let to = self.to.min(list.len());
        &mut list[self.from.min(to)..to]
    }

    /// Whether the list is longer than what is shown of it.
    pub(crate) fn is_cut(&self) -> bool {
        self.earlier.is_some() || self.later.is_some()
    }

    /// Which rows are shown, in words.
    pub(crate) fn words(&self) -> String {
        format!("{} to {} of {}", self.from + 1, self.to, self.all)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_follow_each_other_and_nonsense_is_the_first() {
        let list: Vec<usize> = (0..95).collect();
        let first = Part::new("waiting", "", list.len(), 40, "/plan?week=2026-11-30");
        assert_eq!(first.of(&list), &list[..40]);
        assert_eq!(first.earlier, None);
        assert_eq!(first.later.as_deref(), Some("/plan?week=2026-11-30&waiting=2#waiting"));
        let last = Part::new("waiting", "3", list.len(), 40, "/plan");
        assert_eq!(last.of(&list), &list[80..]);
        assert_eq!(last.words(), "81 to 95 of 95");
        assert_eq!(last.earlier.as_deref(), Some("/plan?waiting=2#waiting"));
        assert!(last.later.is_none() && last.is_cut());
        assert_eq!(Part::new("waiting", "999", list.len(), 40, "/plan").of(&list), &list[80..]);
        let few = Part::new("waiting", "-3", 2, 40, "/plan");
        assert_eq!(few.of(&list[..2]), &list[..2]);
        assert!(!few.is_cut());
        assert!(Part::new("waiting", "2", 0, 40, "/plan").of(&list[..0]).is_empty());
    }
}
