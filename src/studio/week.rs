//! When somebody is there who may load a kiln and pour.

use sqlx::PgPool;

use super::presence::Presence;
use crate::clock::Day;

/// Stretches of a day in minutes, each from and to.
pub type Stretches = Vec<(i32, i32)>;

/// When staff are there, and the days on which nobody is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Week {
    /// For each day from Monday, minutes of the day from and to.
    pub hours: [Stretches; 7],
    /// Days on which the studio is closed.
    pub closed: Vec<(Day, String)>,
    /// Days with other hours than their week's, because somebody is away.
    pub special: Vec<(Day, Stretches)>,
}

impl Week {
    /// The hours from `first` on in which at least one person is there who may load and pour.
    pub async fn load(pool: &PgPool, first: Day) -> Result<Self, sqlx::Error> {
        let studio = Self::of_studio(pool, first).await?;
        Ok(studio.with(&Presence::list(pool, first).await?, first))
    }

    /// The studio's own hours and the days on which it is closed, whoever is there.
    pub async fn of_studio(pool: &PgPool, first: Day) -> Result<Self, sqlx::Error> {
        let mut week = Self::default();
        let rows: Vec<(i16, i16, i16)> = sqlx::query_as(
            "SELECT weekday, from_min, to_min FROM working_hours ORDER BY weekday, from_min",
        )
        .fetch_all(pool)
        .await?;
        for (weekday, from, to) in rows {
            if let Some(day) = usize::try_from(weekday - 1).ok().and_then(|n| week.hours.get_mut(n))
            {
                day.push((i32::from(from), i32::from(to)));
            }
        }
        week.closed = sqlx::query_as(
            "SELECT on_day, reason FROM closed_days WHERE on_day >= $1 ORDER BY on_day",
        )
        .bind(first)
        .fetch_all(pool)
        .await?;
        Ok(week)
    }

    /// The hours in which somebody of these is there. Whoever has no hours of their own keeps the
    /// studio's; with nobody to ask, the studio's hours stand.
    fn with(self, people: &[Presence], first: Day) -> Self {
        if people.is_empty() {
            return self;
        }
        let able: Vec<&Presence> = people.iter().filter(|person| person.pours).collect();
        let hours = std::array::from_fn(|weekday| {
            joined(able.iter().flat_map(|person| person.usual(&self.hours, weekday)))
        });
        let mut away: Vec<Day> = able
            .iter()
            .flat_map(|person| &person.absences)
            .flat_map(|absence| absence.days(first))
            .collect();
        away.sort_unstable();
        away.dedup();
        let special = away
            .into_iter()
            .map(|day| {
                let there = able.iter().filter(|person| person.absent(day).is_none());
                (day, joined(there.flat_map(|person| person.usual(&self.hours, weekday(day)))))
            })
            .filter(|(day, there)| hours[weekday(*day)] != *there)
            .collect();
        Self { hours, special, closed: self.closed }
    }

    /// The hours of a day; none when nobody is there.
    #[must_use]
    pub fn on(&self, day: Day) -> &[(i32, i32)] {
        if self.closed.iter().any(|(closed, _)| *closed == day) {
            return &[];
        }
        match self.special.iter().find(|(special, _)| *special == day) {
            Some((_, hours)) => hours,
            None => &self.hours[weekday(day)],
        }
    }

    /// Whether nobody is ever there.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.hours.iter().all(Vec::is_empty) && self.special.iter().all(|(_, day)| day.is_empty())
    }
}

/// The day of the week, from Monday's 0.
pub(super) fn weekday(day: Day) -> usize {
    usize::try_from(day.0.weekday().to_monday_zero_offset()).unwrap_or(0)
}

/// Stretches put together: in order, apart, each minute once.
fn joined<'a>(stretches: impl Iterator<Item = &'a (i32, i32)>) -> Stretches {
    let mut sorted: Stretches = stretches.copied().collect();
    sorted.sort_unstable();
    let mut out: Stretches = Vec::new();
    for (from, to) in sorted {
        match out.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(to),
            _ => out.push((from, to)),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::id::PersonId;
    use crate::studio::presence::{Absence, Away};

    fn day(text: &str) -> Day {
        Day(text.parse().unwrap())
    }

    fn person(hours: Option<[Stretches; 7]>) -> Presence {
        Presence {
            id: PersonId::new(),
            name: "Somebody".to_owned(),
            pours: true,
            hours_version: 1,
            hours,
            absences: Vec::new(),
        }
    }

    fn studio() -> Week {
        let mut week = Week::default();
        week.hours[..5].fill(vec![(480, 720), (780, 1080)]);
        week
    }

    /// Wednesday.
    const FIRST: &str = "2026-11-25";

    #[test]
    fn with_nobody_asked_or_nobody_different_the_studios_hours_stand() {
        assert_eq!(studio().with(&[], day(FIRST)), studio());
        assert_eq!(studio().with(&[person(None), person(None)], day(FIRST)), studio());
    }

    #[test]
    fn hours_are_those_in_which_one_of_them_is_there() {
        let mut morning: [Stretches; 7] = Default::default();
        morning[0] = vec![(480, 700)];
        let mut late: [Stretches; 7] = Default::default();
        late[0] = vec![(660, 1200)];
        late[5] = vec![(540, 600)];
        let week = studio().with(&[person(Some(morning)), person(Some(late))], day(FIRST));
        assert_eq!(week.hours[0], [(480, 1200)]);
        assert_eq!(week.hours[1], []);
        assert_eq!(week.hours[5], [(540, 600)]);
    }

    #[test]
    fn a_day_without_one_of_them_keeps_the_others_hours() {
        let mut morning: [Stretches; 7] = Default::default();
        morning[..5].fill(vec![(480, 700)]);
        let mut ill = person(None);
        ill.absences.push(Absence {
            id: crate::id::AbsenceId::new(),
            kind: Away::Ill,
            from: day("2026-11-20"),
            to: day("2026-11-26"),
        });
        let both = studio().with(&[ill.clone(), person(Some(morning))], day(FIRST));
        assert_eq!(both.on(day("2026-11-25")), [(480, 700)]);
        assert_eq!(both.on(day("2026-11-26")), [(480, 700)]);
        assert_eq!(both.on(day("2026-11-27")), [(480, 720), (780, 1080)]);
        assert_eq!(both.special.len(), 2, "days before the first do not count");
        // Whoever may not pour does not keep the studio open.
        let helper = Presence { pours: false, ..person(None) };
        let alone = studio().with(&[ill, helper], day(FIRST));
        assert_eq!(alone.on(day("2026-11-25")), []);
        assert!(!alone.is_empty());
        assert!(studio().with(&[Presence { pours: false, ..person(None) }], day(FIRST)).is_empty());
    }

    #[test]
    fn a_closed_day_is_closed_for_everybody() {
        let mut week = studio();
        week.closed.push((day(FIRST), "fair".to_owned()));
        assert_eq!(week.on(day(FIRST)), []);
    }
}
