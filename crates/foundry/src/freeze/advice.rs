//! Which sprues would do.
//!
//! A search by trial: each trial is a whole calculation of freezing. Places are
//! straight ways out from the hottest spot that is not fed, diameters the
//! usual steps of sprue wax, thinnest first; so the answer is the smallest set
//! among those tried, not a proof that no smaller one exists.

use std::fmt;
use std::ops::ControlFlow;

use super::feed::{FeedAnswer, FeedCase, feed};
use super::freezing::{Progress, Watch};
use super::material::Within;
use super::pockets::Pocket;
use super::refusal::FreezeRefusal;
use super::sprue::{SPRUE_STEPS_MM, Sprue, Surface};

/// Most calculations in one search.
const MOST_TRIALS: usize = 30;
/// Most sprues that are proposed.
const MOST_SPRUES: usize = 4;
/// Diameters tried at one place.
const MOST_STEPS: usize = 5;
/// Places tried for one hot spot.
const MOST_PLACES: usize = 2;
/// Length given to a proposed sprue when there is none to go by, mm.
const USUAL_LENGTH_MM: f64 = 8.0;

/// One thing to know or to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Advice {
    /// The sprues are enough, and why one more adds nothing.
    Enough {
        /// Number of sprues.
        sprues: usize,
        /// When the piece stops feeding at its last place, s.
        until_s: f64,
    },
    /// A sprue that can be left out.
    Needless {
        /// Its number, from 1.
        number: usize,
        /// The last place to freeze without it, mm.
        at_mm: [f64; 3],
        /// When that place stops feeding, still connected, s.
        until_s: f64,
    },
    /// Use this sprue in place of one that is too thin.
    Thicken {
        /// Number of the sprue, from 1.
        number: usize,
        /// Its diameter now, mm.
        from_mm: f64,
        /// The diameter that feeds, mm.
        to_mm: f64,
    },
    /// A sprue to add.
    Add(Sprue),
    /// Sprues to use instead of those proposed.
    Instead(Vec<Sprue>),
    /// What the proposed sprues leave unfed.
    Unfed {
        /// The last place to freeze of what is cut off, mm.
        at_mm: [f64; 3],
        /// Metal cut off, mm³.
        volume_mm3: f64,
        /// When it is cut off, s.
        cut_off_s: f64,
    },
    /// Nothing that was tried feeds all of the piece.
    NothingFound {
        /// Calculations made.
        trials: usize,
    },
}

impl fmt::Display for Advice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let place = |at: &[f64; 3]| format!("({:.1}, {:.1}, {:.1}) mm", at[0], at[1], at[2]);
        let rod = |s: &Sprue| format!("{} mm at {}", s.diameter_mm, place(&s.at_mm));
        match self {
            Self::Enough { sprues: 1, until_s } => write!(
                f,
                "the sprue is enough: every section freezes towards it until {until_s:.1} s, so a second one would have nothing to feed"
            ),
            Self::Enough { sprues, until_s } => write!(
                f,
                "the {sprues} sprues are enough: every section freezes towards one of them until {until_s:.1} s, so another would have nothing to feed"
            ),
            Self::Needless { number, at_mm, until_s } => write!(
                f,
                "sprue {number} adds nothing: without it the piece is still fed to the end, the last place being {} at {until_s:.1} s",
                place(at_mm)
            ),
            Self::Thicken { number, from_mm, to_mm } => write!(
                f,
                "make sprue {number} {to_mm} mm thick instead of {from_mm} mm: it then outlasts the section it feeds"
            ),
            Self::Add(sprue) => write!(f, "add a sprue of {}", rod(sprue)),
            Self::Instead(sprues) => {
                let all: Vec<String> = sprues.iter().map(rod).collect();
                write!(f, "use instead: a sprue of {}", all.join(", and one of "))
            }
            Self::Unfed { at_mm, volume_mm3, cut_off_s } if *cut_off_s > 0.0 => write!(
                f,
                "{volume_mm3:.1} mm³ around {} is cut off from its feed at {cut_off_s:.1} s while still liquid",
                place(at_mm)
            ),
            Self::Unfed { at_mm, volume_mm3, .. } => {
                write!(f, "{volume_mm3:.1} mm³ around {} has no sprue to feed it", place(at_mm))
            }
            Self::NothingFound { trials } => write!(
                f,
                "none of {trials} arrangements tried feeds the whole piece; make the heavy section thinner, or the way to it thicker"
            ),
        }
    }
}

/// Advice and the sprues it comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct FeedAdvice {
    /// What to know and do, in order.
    pub advice: Vec<Advice>,
    /// The smallest set found that feeds the piece; empty when none was found.
    pub sprues: Vec<Sprue>,
    /// Calculations made.
    pub trials: usize,
}

/// Looks for the smallest set of sprues that feeds the piece, or for sprues
/// that can be left out when they already do.
///
/// # Accuracy
/// Trials use the first pitch, or the case's own if coarser; what they propose should be computed again at
/// the pitch wanted.
///
/// # Refuses
/// What [`feed`] refuses.
pub fn advise(
    case: &FeedCase<'_>,
    answer: &FeedAnswer,
    watch: &mut Watch<'_>,
) -> Result<FeedAdvice, FreezeRefusal> {
    let mut search = Search { case: case.clone(), trials: 0, watch };
    let first_mm = case.first_pitch_mm()?;
    search.case.pitch_mm = case.pitch_mm.filter(|&pitch| pitch > first_mm);
    if answer.enough { search.leave_out(answer) } else { search.find(answer) }
}

/// A set of sprues and how it did.
struct Tried {
    sprues: Vec<Sprue>,
    pockets: Vec<Pocket>,
}

impl Tried {
    fn loss_mm3(&self) -> f64 {
        self.pockets.iter().map(|p| p.porosity_mm3.usual).sum()
    }
}

struct Search<'a, 'w, 'f> {
    case: FeedCase<'a>,
    trials: usize,
    watch: &'w mut Watch<'f>,
}

impl Search<'_, '_, '_> {
    fn try_out(&mut self, sprues: &[Sprue]) -> Result<FeedAnswer, FreezeRefusal> {
        self.case.sprues = sprues.to_vec();
        self.trials += 1;
        let share = (self.trials as f64 / MOST_TRIALS as f64).min(1.0);
        let watch = &mut *self.watch;
        if watch(Progress { doing: "trying sprues", share }).is_break() {
            return Err(FreezeRefusal::Stopped);
        }
        // The inner calculation's own progress only serves to stop it.
        feed(&self.case, &mut |_| match watch(Progress { doing: "trying sprues", share }) {
            ControlFlow::Break(()) => ControlFlow::Break(()),
            ControlFlow::Continue(()) => ControlFlow::Continue(()),
        })
    }

    /// Which of enough sprues are needless, one after the other.
    fn leave_out(mut self, answer: &FeedAnswer) -> Result<FeedAdvice, FreezeRefusal> {
        let all = self.case.sprues.clone();
        let mut kept: Vec<usize> = (0..all.len()).collect();
        let mut advice = Vec::new();
        for number in (0..all.len()).rev() {
            if kept.len() < 2 || self.trials >= MOST_TRIALS {
                break;
            }
            let rest: Vec<usize> = kept.iter().copied().filter(|&k| k != number).collect();
            let without = self.try_out(&rest.iter().map(|&k| all[k]).collect::<Vec<_>>())?;
            if without.enough {
                let last = without.last_to_freeze;
                advice.push(Advice::Needless {
                    number: number + 1,
                    at_mm: last.at_mm,
                    until_s: last.seconds,
                });
                kept = rest;
            }
        }
        let until_s = answer.last_to_freeze.seconds;
        advice.insert(0, Advice::Enough { sprues: all.len(), until_s });
        let sprues = kept.into_iter().map(|k| all[k]).collect();
        Ok(FeedAdvice { advice, sprues, trials: self.trials })
    }

    /// Sprues that do where those proposed do not.
    fn find(mut self, answer: &FeedAnswer) -> Result<FeedAdvice, FreezeRefusal> {
        let given = self.case.sprues.clone();
        let mut advice: Vec<Advice> = answer
            .pockets
            .iter()
            .map(|p| Advice::Unfed {
                at_mm: p.at_mm,
                volume_mm3: p.volume_mm3,
                cut_off_s: p.cut_off_s,
            })
            .collect();
        if let [only] = given[..] {
            if let Some(thick) = self.thicken(only)? {
                advice.push(Advice::Thicken {
                    number: 1,
                    from_mm: only.diameter_mm,
                    to_mm: thick.diameter_mm,
                });
                return Ok(FeedAdvice { advice, sprues: vec![thick], trials: self.trials });
            }
        }
        let added = self.grow(&given, &answer.pockets)?;
        let enough = added.as_ref().is_some_and(|t| t.pockets.is_empty());
        // A set from scratch is only better when it needs fewer.
        let most =
            if enough { added.as_ref().map_or(0, |t| t.sprues.len()) - 1 } else { MOST_SPRUES };
        let fresh = if given.is_empty() || most == 0 {
            None
        } else {
            let bare = self.try_out(&[])?;
            self.grow(&[], &bare.pockets)?
                .filter(|t| t.pockets.is_empty() && t.sprues.len() <= most)
        };
        let sprues = match (fresh, added) {
            (Some(fresh), _) => {
                advice.push(Advice::Instead(fresh.sprues.clone()));
                fresh.sprues
            }
            (None, Some(added)) if enough => {
                advice.extend(added.sprues[given.len()..].iter().copied().map(Advice::Add));
                added.sprues
            }
            _ => {
                advice.push(Advice::NothingFound { trials: self.trials });
                Vec::new()
            }
        };
        Ok(FeedAdvice { advice, sprues, trials: self.trials })
    }

    /// The same sprue in the next steps of diameter; none when it does not help.
    fn thicken(&mut self, sprue: Sprue) -> Result<Option<Sprue>, FreezeRefusal> {
        let mut before = f64::INFINITY;
        for to in SPRUE_STEPS_MM.into_iter().filter(|&d| d > sprue.diameter_mm).take(MOST_STEPS) {
            let thick = Sprue { diameter_mm: to, ..sprue };
            let found = self.try_out(&[thick])?;
            if found.enough {
                return Ok(Some(thick));
            }
            let tried = Tried { sprues: vec![thick], pockets: found.pockets };
            // What a thicker sprue does not reduce is cut off further in.
            if tried.loss_mm3() > 0.9 * before {
                break;
            }
            before = tried.loss_mm3();
        }
        Ok(None)
    }

    /// Adds sprues at the worst pocket until none is left.
    fn grow(
        &mut self,
        start: &[Sprue],
        pockets: &[Pocket],
    ) -> Result<Option<Tried>, FreezeRefusal> {
        let mut now = Tried { sprues: start.to_vec(), pockets: pockets.to_vec() };
        while now.sprues.len() < MOST_SPRUES && !now.pockets.is_empty() {
            let Some(next) = self.add_one(&now)? else { return Ok(None) };
            now = next;
        }
        Ok(Some(now))
    }

    /// The best of the sprues tried at the worst pocket, the thinnest that does.
    fn add_one(&mut self, now: &Tried) -> Result<Option<Tried>, FreezeRefusal> {
        let Some(worst) = now.pockets.first() else { return Ok(None) };
        let numbers = self.case.conditions.numbers(Within::Usual)?;
        // A round sprue's modulus is a quarter of its diameter; begin a little below.
        let modulus_mm = (worst.until_s / numbers.seconds_per_mm2()).sqrt();
        let length_mm = now.sprues.first().map_or(USUAL_LENGTH_MM, |s| s.length_mm);
        let surface = Surface::new(self.case.vertices_mm, self.case.triangles)?;
        let mut places = surface.ways_out(worst.at_mm, length_mm + 8.0 * modulus_mm);
        if places.is_empty() {
            places.push(surface.nearest(worst.at_mm, 0.5));
        }
        let mut best: Option<Tried> = None;
        for place in places.iter().take(MOST_PLACES) {
            let mut before = f64::INFINITY;
            let steps = SPRUE_STEPS_MM.into_iter().filter(|&d| d >= 3.0 * modulus_mm);
            for diameter_mm in steps.take(MOST_STEPS) {
                if self.trials >= MOST_TRIALS {
                    return Ok(best);
                }
                let mut sprues = now.sprues.clone();
                let at_mm = place.at_mm;
                sprues.push(Sprue { at_mm, diameter_mm, length_mm, direction: None });
                let found = self.try_out(&sprues)?;
                let tried = Tried { sprues, pockets: found.pockets };
                if found.enough {
                    return Ok(Some(tried));
                }
                let loss = tried.loss_mm3();
                if best.as_ref().is_none_or(|b| loss < 0.99 * b.loss_mm3()) {
                    best = Some(tried);
                }
                if loss > 0.9 * before {
                    break;
                }
                before = loss;
            }
        }
        Ok(best.filter(|b| b.loss_mm3() < now.loss_mm3()))
    }
}
