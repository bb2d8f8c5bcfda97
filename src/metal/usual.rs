//! What is usually lost: limits for one thing after the other, and for people. No SQL.

use std::collections::BTreeMap;

use foundry::working::{Worked, Working};
use foundry::yields::{GroupMean, GroupValue, YieldRefusal, group_mean, individuals_chart};

use crate::web::{Charted, Html, control_chart, working_of};

/// A share lost, in per cent.
pub(super) fn percent(lost: i64, through: i64) -> f64 {
    if through == 0 { 0.0 } else { lost as f64 * 100.0 / through as f64 }
}

/// What was lost by one thing after the other, the earliest first, and what is usual.
#[derive(Clone, Debug, Default)]
pub(super) struct Usual {
    /// In per cent.
    each: Vec<f64>,
    limits: Option<Limits>,
}

#[derive(Clone, Debug)]
struct Limits {
    mean: f64,
    lower: f64,
    upper: f64,
    outside: Vec<bool>,
    working: Working,
}

impl Usual {
    /// From shares in per cent; of too few there are no limits.
    pub(super) fn of(each: Vec<f64>) -> Self {
        let limits = individuals_chart(&each, "%").ok().map(|chart| Limits {
            mean: chart.value.mean,
            // Nothing less than nothing is lost.
            lower: chart.value.lower.max(0.0),
            upper: chart.value.upper,
            outside: chart.value.outside,
            working: chart.working,
        });
        Self { each, limits }
    }

    /// How many there are.
    pub(super) fn times(&self) -> usize {
        self.each.len()
    }

    /// Whether one of them lies beyond the limits.
    pub(super) fn is_outside(&self, at: usize) -> bool {
        self.limits.as_ref().is_some_and(|limits| limits.outside.get(at) == Some(&true))
    }

    /// How many lie beyond the limits.
    pub(super) fn beyond(&self) -> usize {
        let outside = self.limits.iter().flat_map(|limits| &limits.outside);
        outside.filter(|outside| **outside).count()
    }

    /// The limits as a figure that opens into how they were reached.
    pub(super) fn limits(&self) -> Option<Html> {
        let limits = self.limits.as_ref()?;
        Some(working_of(&between(limits.lower, limits.upper), &limits.working))
    }

    /// Drawn, with what the points are; nothing without limits.
    pub(super) fn chart(&self, of: &str, points: &str) -> Option<Html> {
        let limits = self.limits.as_ref()?;
        let shares: Vec<Charted> = self
            .each
            .iter()
            .zip(&limits.outside)
            .map(|(share, outside)| Charted {
                share: *share,
                low: limits.lower,
                high: limits.upper,
                outside: *outside,
            })
            .collect();
        let beyond = match self.beyond() {
            0 => String::new(),
            some => format!("; {some} of them outside"),
        };
        let caption = format!("{of}, {points} by {points}");
        let title = format!("Share lost, {caption}, the earliest first{beyond}");
        Some(control_chart(&caption, &title, limits.mean, &shares))
    }
}

fn between(lower: f64, upper: f64) -> Html {
    Html::trusted(format!(
        "<span class=\"fig\">{lower:.2} to {upper:.2}<span class=\"unit\"> %</span></span>"
    ))
}

/// Something that one person worked on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Share<'a> {
    pub(super) person: &'a str,
    /// Only what is alike is held against each other.
    pub(super) like: &'a str,
    pub(super) through: i64,
    pub(super) lost: i64,
    /// Beyond the limits of what it is like.
    pub(super) outside: bool,
}

/// What one person's pours lost, or their finishing took off, beside what the whole studio did.
#[derive(Clone, Debug)]
pub(super) struct OfPerson {
    pub(super) person: String,
    pub(super) times: usize,
    pub(super) through: i64,
    pub(super) lost: i64,
    pub(super) outside: usize,
    beside: Result<Worked<GroupMean>, YieldRefusal>,
}

impl OfPerson {
    /// The mean of those that can be held against others' and what is usual for so many, which
    /// opens; nothing where they are too few.
    pub(super) fn beside(&self) -> Option<Html> {
        let worked = self.beside.as_ref().ok()?;
        let of = &worked.value;
        let figure = Html::trusted(format!(
            "<span class=\"fig\">{:.2}<span class=\"unit\"> %</span></span>, usual {}",
            of.mean,
            between(of.lower.max(0.0), of.upper)
        ));
        Some(working_of(&figure, &worked.working))
    }

    /// What may be said of it.
    pub(super) fn verdict(&self) -> &'static str {
        match &self.beside {
            Ok(of) if of.value.mean > of.value.upper => "more than chance explains",
            Ok(of) if of.value.mean < of.value.lower => "less than chance explains",
            Ok(_) => "as usual",
            Err(_) => "too few to say",
        }
    }

    /// Whether anything may be said.
    pub(super) fn is_told(&self) -> bool {
        self.beside.is_ok()
    }

    /// Whether more is lost than chance explains.
    pub(super) fn is_more(&self) -> bool {
        self.beside.as_ref().is_ok_and(|of| of.value.mean > of.value.upper)
    }
}

/// By person, in the order of their names.
pub(super) fn by_person(shares: &[Share<'_>]) -> Vec<OfPerson> {
    let (mut people, mut kinds) = (BTreeMap::new(), BTreeMap::new());
    for share in shares {
        people.entry(share.person).or_insert(0);
        let next = kinds.len();
        kinds.entry(share.like).or_insert(next);
    }
    for (n, at) in people.values_mut().enumerate() {
        *at = n;
    }
    let values: Vec<GroupValue> = shares
        .iter()
        .map(|share| GroupValue {
            value: percent(share.lost, share.through),
            group: people[share.person],
            kind: kinds[share.like],
        })
        .collect();
    people
        .iter()
        .map(|(person, group)| {
            let own = || shares.iter().filter(|share| share.person == *person);
            OfPerson {
                person: (*person).to_owned(),
                times: own().count(),
                through: own().map(|share| share.through).sum(),
                lost: own().map(|share| share.lost).sum(),
                outside: own().filter(|share| share.outside).count(),
                beside: group_mean(&values, *group, "%"),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn share(person: &'static str, like: &'static str, lost: i64) -> Share<'static> {
        Share { person, like, through: 10_000, lost, outside: false }
    }

    #[test]
    fn who_pours_what_loses_more_is_not_told_to_lose_more() {
        let mut shares = Vec::new();
        for n in 0..6 {
            shares.push(share("Ada", "gold", 400 + n));
            shares.push(share("Ben", "silver", 100 + n));
        }
        let apart = by_person(&shares);
        assert!(apart.iter().all(|each| each.verdict() == "too few to say"), "nobody is alike");
        for n in 0..6 {
            shares.push(share("Ben", "gold", 401 + n));
        }
        let people = by_person(&shares);
        assert_eq!(people[0].verdict(), "as usual");
        assert!(people[0].beside().is_some() && !people[0].is_more());
    }

    #[test]
    fn more_than_the_others_in_the_same_alloy_is_told() {
        let mut shares: Vec<_> = (0..12).map(|n| share("Ada", "gold", 100 + n % 3)).collect();
        shares.extend((0..12).map(|n| share("Ben", "gold", 180 + n % 3)));
        let people = by_person(&shares);
        assert_eq!(people[0].verdict(), "less than chance explains");
        assert_eq!(people[1].verdict(), "more than chance explains");
        shares.retain(|each| each.person == "Ada" || each.lost == 180);
        shares.truncate(14);
        assert_eq!(by_person(&shares)[1].verdict(), "too few to say", "of two flasks nothing is");
    }

    #[test]
    fn limits_need_five_and_nothing_passes_through_nothing() {
        assert!(Usual::of(vec![1.0; 4]).limits().is_none());
        assert!(Usual::of(vec![1.0; 5]).limits().is_some());
        assert!(percent(5, 0).abs() < f64::EPSILON);
    }
}
