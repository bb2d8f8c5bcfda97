//! Who is there when: hours of single people, and their days away.

use std::collections::HashMap;

use sqlx::PgPool;

use super::week::{Stretches, weekday};
use crate::clock::Day;
use crate::id::{AbsenceId, PersonId};

/// No absence is followed further than so many days.
const MOST_DAYS: i32 = 400;

/// Why somebody is not there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub enum Away {
    /// Ill.
    Ill,
    /// Away for another reason.
    Away,
}

impl Away {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ill => "ill",
            Self::Away => "away",
        }
    }
}

/// Days on which somebody is not there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Absence {
    /// The absence.
    pub id: AbsenceId,
    /// Why.
    pub kind: Away,
    /// The first day.
    pub from: Day,
    /// The last day.
    pub to: Day,
}

impl Absence {
    /// Its days from one on.
    pub(super) fn days(&self, first: Day) -> impl Iterator<Item = Day> {
        let (from, to) = (self.from.max(first), self.to);
        (0..MOST_DAYS).map(move |n| from.plus_days(n)).take_while(move |day| *day <= to)
    }
}

/// Somebody of the studio, and when they are there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Presence {
    /// Who.
    pub id: PersonId,
    /// Their name.
    pub name: String,
    /// Whether they may load kilns and pour.
    pub pours: bool,
    /// Counts the changes of the hours.
    pub hours_version: i64,
    /// Their own hours from Monday; none when they keep the studio's.
    pub hours: Option<[Stretches; 7]>,
    /// Days away that are not over, in order.
    pub absences: Vec<Absence>,
}

impl Presence {
    /// Everybody who works here, by name, with absences that last to `first` or longer.
    pub async fn list(pool: &PgPool, first: Day) -> Result<Vec<Self>, sqlx::Error> {
        let rows: Vec<(PersonId, String, bool, i64)> = sqlx::query_as(
            "SELECT id, name, pours, hours_version FROM people WHERE left_at IS NULL ORDER BY name, id",
        )
        .fetch_all(pool)
        .await?;
        let mut hours: HashMap<PersonId, [Stretches; 7]> = HashMap::new();
        let own: Vec<(PersonId, i16, i16, i16)> = sqlx::query_as(
            "SELECT person_id, weekday, from_min, to_min FROM person_hours ORDER BY weekday, from_min",
        )
        .fetch_all(pool)
        .await?;
        for (person, weekday, from, to) in own {
            let week = hours.entry(person).or_default();
            if let Some(day) = usize::try_from(weekday - 1).ok().and_then(|n| week.get_mut(n)) {
                day.push((i32::from(from), i32::from(to)));
            }
        }
        let mut absences: HashMap<PersonId, Vec<Absence>> = HashMap::new();
        let away: Vec<(AbsenceId, PersonId, Away, Day, Day)> = sqlx::query_as(
            "SELECT id, person_id, kind, from_on, to_on FROM absences WHERE to_on >= $1 ORDER BY from_on, to_on",
        )
        .bind(first)
        .fetch_all(pool)
        .await?;
        for (id, person, kind, from, to) in away {
            absences.entry(person).or_default().push(Absence { id, kind, from, to });
        }
        Ok(rows
            .into_iter()
            .map(|(id, name, pours, hours_version)| Self {
                hours: hours.remove(&id),
                absences: absences.remove(&id).unwrap_or_default(),
                id,
                name,
                pours,
                hours_version,
            })
            .collect())
    }

    /// The hours of a day of the week when nothing keeps them away.
    pub(super) fn usual<'a>(
        &'a self,
        studio: &'a [Stretches; 7],
        weekday: usize,
    ) -> &'a [(i32, i32)] {
        let hours = self.hours.as_ref().unwrap_or(studio);
        hours.get(weekday).map_or(&[], Vec::as_slice)
    }

    /// What keeps them away on a day.
    #[must_use]
    pub fn absent(&self, day: Day) -> Option<&Absence> {
        self.absences.iter().find(|absence| (absence.from..=absence.to).contains(&day))
    }

    /// The hours of a day in which they are there.
    #[must_use]
    pub fn on<'a>(&'a self, studio: &'a [Stretches; 7], day: Day) -> &'a [(i32, i32)] {
        if self.absent(day).is_some() { &[] } else { self.usual(studio, weekday(day)) }
    }
}
