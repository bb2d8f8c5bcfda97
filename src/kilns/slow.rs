//! A kiln that takes longer for a programme than that says.

use foundry::source::Source;
use foundry::working::{Figure, Working};

use super::heat_line::HeatLine;
use super::kiln::KilnFacts;
use crate::web::Show;

/// A kiln that takes longer for a programme than that says, as its own firings have shown it.
///
/// Power by a kiln's plate and an assumed loss are no ground to plan on: a kiln to which nothing
/// was fitted is taken to keep to its programmes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Slow {
    /// The kiln.
    pub kiln: String,
    /// How long the programme lasts, min.
    pub programme_min: i64,
    /// How much longer it takes, min.
    pub minutes: i64,
    /// The load to whose log its power and loss were fitted.
    pub fitted_to: i32,
}

impl Slow {
    /// What a firing in a kiln takes longer; none where the kiln keeps to the programme, or
    /// nothing was fitted to it.
    #[must_use]
    pub fn of(facts: Option<&KilnFacts>, line: &HeatLine) -> Option<Self> {
        let facts = facts?;
        Some(Self {
            kiln: facts.name.clone(),
            programme_min: line.minutes,
            minutes: line.longer_min()?,
            fitted_to: facts.fitted_to?,
        })
    }

    /// From the start of the programme until it is held, min.
    #[must_use]
    pub fn takes_min(&self) -> i64 {
        self.programme_min + self.minutes
    }

    /// In words: `Programme 11 h 20 min, Small kiln takes 25 min longer (fitted to load 12)`.
    #[must_use]
    pub fn words(&self, show: &Show) -> String {
        format!(
            "Programme {}, {} takes {} longer (fitted to load {})",
            show.span(self.programme_min as f64),
            self.kiln,
            show.span(self.minutes as f64),
            self.fitted_to
        )
    }

    /// How long it burns.
    #[must_use]
    pub fn working(&self) -> Working {
        let mut working = Working::default();
        let min = |name: String, minutes, source| Figure::count(name, minutes, "min", source);
        working.step(
            "programme + what the kiln takes longer",
            vec![
                min("programme".to_owned(), self.programme_min, Source::Entered),
                min(
                    format!(
                        "{} longer with these flasks, power and loss fitted to load {}",
                        self.kiln, self.fitted_to
                    ),
                    self.minutes,
                    Source::Computed,
                ),
            ],
            min("from the start until it is held".to_owned(), self.takes_min(), Source::Computed),
        );
        working
    }
}
