//! Programmes as the planner reads them, and which kilns can run them.

use std::collections::BTreeMap;

use super::view::{FlaskRow, KilnRow, SegmentRow};
use crate::json::plan::{BanJson, FamilyJson, LongerJson, ProgrammeJson, SegmentKindJson};
use crate::kilns::{KilnFacts, SegmentKind};

/// A family's programme for a size class.
#[derive(Debug, Default)]
struct Programme {
    segments: Vec<(SegmentKindJson, i64)>,
    minutes: i64,
    peak_c: f64,
}

/// All programmes of the studio, by family and size class.
#[derive(Debug)]
pub(super) struct Programmes(BTreeMap<(String, String), Programme>);

impl Programmes {
    pub(super) fn new(rows: Vec<SegmentRow>) -> Self {
        let mut programmes: BTreeMap<(String, String), Programme> = BTreeMap::new();
        for row in rows {
            let one = programmes.entry((row.family, row.size_class)).or_default();
            let kind = match row.kind {
                SegmentKind::Ramp => SegmentKindJson::Ramp,
                SegmentKind::Hold => SegmentKindJson::Hold,
            };
            one.segments.push((kind, i64::from(row.minutes)));
            one.minutes += i64::from(row.minutes);
            one.peak_c = one.peak_c.max(row.target_c);
        }
        Self(programmes)
    }

    fn of(&self, flask: &FlaskRow) -> Option<&Programme> {
        self.0.get(&(flask.family.clone(), flask.size_class.clone()))
    }

    /// Flasks that have a programme; which have none, and what to do about it.
    pub(super) fn known(&self, flasks: Vec<FlaskRow>) -> (Vec<FlaskRow>, Vec<String>) {
        let (known, unknown): (Vec<_>, Vec<_>) =
            flasks.into_iter().partition(|flask| self.of(flask).is_some());
        let mut without: BTreeMap<(String, String), Vec<String>> = BTreeMap::new();
        for flask in unknown {
            let programme = (flask.family, flask.size_class);
            without.entry(programme).or_default().push(flask.number.to_string());
        }
        let notes = without
            .into_iter()
            .map(|((family, size), flasks)| {
                format!(
                    "{} left out: {family} has no programme for size {size}. Set one under Studio, programmes.",
                    named(&flasks)
                )
            })
            .collect();
        (known, notes)
    }

    /// How long the programme of a load takes in its kiln: the longest of its flasks', and what
    /// that takes longer there.
    pub(super) fn burns_min<'a>(
        &self,
        kiln: &str,
        flasks: impl Iterator<Item = &'a FlaskRow>,
        longer: &[LongerJson],
    ) -> i64 {
        let programme = |flask: &'a FlaskRow| {
            Some((self.of(flask)?.minutes, flask.family.as_str(), flask.size_class.as_str()))
        };
        let Some((minutes, family, size)) = flasks.filter_map(programme).max() else { return 0 };
        let meant =
            |one: &&LongerJson| one.kiln == kiln && one.family == family && one.size_class == size;
        minutes + longer.iter().find(meant).map_or(0, |one| one.minutes)
    }

    /// Which flasks may not go into which kilns because those do not get hot enough or were given
    /// up, and in words.
    pub(super) fn bans(
        &self,
        flasks: &[FlaskRow],
        kilns: &[KilnRow],
        facts: &[KilnFacts],
    ) -> (Vec<BanJson>, Vec<String>) {
        let (mut bans, mut notes) = (Vec::new(), Vec::new());
        for kiln in kilns {
            let Some(facts) = facts.iter().find(|facts| facts.id == kiln.id) else {
                // Given up: what is in it is poured, nothing new goes in.
                bans.push(BanJson { flask: None, kiln: kiln.name.clone(), until_min: None });
                continue;
            };
            let reaches_c = facts.reaches_c();
            let mut cold: BTreeMap<(&str, &str), Vec<String>> = BTreeMap::new();
            for flask in flasks.iter().filter(|flask| !flask.is_under_way()) {
                if self.of(flask).is_some_and(|programme| programme.peak_c > reaches_c) {
                    let number = flask.number.to_string();
                    bans.push(BanJson {
                        flask: Some(number.clone()),
                        kiln: kiln.name.clone(),
                        until_min: None,
                    });
                    cold.entry((&flask.family, &flask.size_class)).or_default().push(number);
                }
            }
            for ((family, size), flasks) in cold {
                notes.push(format!(
                    "{} not planned into {}: {family}, size {size}, goes hotter than this kiln gets{}. Check the kiln's power and top temperature, or the programme.",
                    named(&flasks),
                    kiln.name,
                    if facts.is_fitted() { " by its own firings" } else { "" },
                ));
            }
        }
        (bans, notes)
    }

    /// In the written form of a problem.
    pub(super) fn json(&self) -> Vec<FamilyJson> {
        let mut families: Vec<FamilyJson> = Vec::new();
        for ((family, size), programme) in &self.0 {
            if families.last().is_none_or(|last| last.id != *family) {
                families.push(FamilyJson { id: family.clone(), programmes: BTreeMap::new() });
            }
            if let Some(last) = families.last_mut() {
                let programme = ProgrammeJson { segments: programme.segments.clone() };
                last.programmes.insert(size.clone(), programme);
            }
        }
        families
    }
}

/// Flasks by their numbers; many are counted.
fn named(flasks: &[String]) -> String {
    const MOST: usize = 8;
    match flasks {
        [one] => format!("Flask {one} is"),
        few if few.len() <= MOST => format!("Flasks {} are", few.join(", ")),
        many => format!("Flasks {} and {} more are", many[..MOST].join(", "), many.len() - MOST),
    }
}
