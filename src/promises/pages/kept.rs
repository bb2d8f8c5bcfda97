//! Of the days promised, how many held, by the chance that was told with them.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use foundry::yields::{Confidence, Tally, wilson};

use crate::clock::Day;
use crate::people::Signed;
use crate::promises::view::{self, KeptRow};
use crate::web::{App, Fault, Frame, Html, working_of};

/// Promises of about the same chance.
struct Band {
    name: &'static str,
    /// The mean chance that was told, in per cent.
    told: f64,
    held: u32,
    broken: u32,
    /// The share that held, opening into its working, and its interval in per cent.
    counted: Option<(Html, f64, f64)>,
}

impl Band {
    /// Whether what was told lies outside the interval of what happened.
    fn off(&self) -> Option<&'static str> {
        let (_, low, high) = self.counted.as_ref()?;
        if self.told > *high {
            Some("fewer held than was told: the promises are too bold")
        } else if self.told < *low {
            Some("more held than was told: the promises are too cautious")
        } else {
            None
        }
    }
}

/// What became of a promise.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Fate {
    Held,
    Broken,
    Open,
}

fn fate(row: &KeptRow, ready_on: Option<Day>, today: Day) -> Fate {
    match ready_on {
        Some(day) if day <= row.promised_on => Fate::Held,
        Some(_) => Fate::Broken,
        None if row.promised_on < today => Fate::Broken,
        None => Fate::Open,
    }
}

/// A promise in the list.
struct Promise {
    row: KeptRow,
    ready_on: Option<Day>,
    words: &'static str,
    broken: bool,
}

#[derive(Template, WebTemplate)]
#[template(path = "promises/kept.html")]
pub(crate) struct Kept {
    frame: Frame,
    bands: Vec<Band>,
    promises: Vec<Promise>,
    unknown: usize,
}

const BANDS: [(&str, f64, f64); 5] = [
    ("19 in 20 or better", 0.95, 1.1),
    ("9 in 10", 0.9, 0.95),
    ("8 in 10", 0.8, 0.9),
    ("5 to 7 in 10", 0.5, 0.8),
    ("less than 5 in 10", 0.0, 0.5),
];

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<Kept, Fault> {
    let zone = signed.frame.show.zone.clone();
    let today = signed.now.day_in(&zone);
    let promises: Vec<Promise> = view::kept(&app.pool)
        .await?
        .into_iter()
        .filter(|row| !row.cancelled)
        .map(|row| {
            let ready_on = row.ready_at.map(|at| at.day_in(&zone));
            let fate = fate(&row, ready_on, today);
            let words = match (fate, ready_on) {
                (Fate::Held, _) => "held",
                (Fate::Broken, Some(_)) => "late",
                (Fate::Broken, None) => "late, and not ready yet",
                (Fate::Open, _) => "to come",
            };
            Promise { row, ready_on, words, broken: fate == Fate::Broken }
        })
        .collect();
    let settled = |promise: &&Promise| promise.words != "to come";
    let bands = BANDS
        .iter()
        .filter_map(|&(name, from, to)| {
            let of: Vec<&Promise> = promises
                .iter()
                .filter(settled)
                .filter(|one| one.row.chance.is_some_and(|chance| from <= chance && chance < to))
                .collect();
            let broken = of.iter().filter(|one| one.broken).count() as u32;
            let held = of.len() as u32 - broken;
            if of.is_empty() {
                return None;
            }
            let told = of.iter().filter_map(|one| one.row.chance).sum::<f64>() / of.len() as f64;
            let counted = wilson(Tally { good: held, bad: broken }, Confidence::NinetyFive)
                .ok()
                .map(|worked| {
                    let share = signed.frame.show.number(worked.value.counted.percent(), 0, "%");
                    (
                        working_of(&share, &worked.working),
                        worked.value.low.percent(),
                        worked.value.high.percent(),
                    )
                });
            Some(Band { name, told: told * 100.0, held, broken, counted })
        })
        .collect();
    let unknown = promises.iter().filter(settled).filter(|one| one.row.chance.is_none()).count();
    Ok(Kept { frame: signed.frame, bands, promises, unknown })
}
