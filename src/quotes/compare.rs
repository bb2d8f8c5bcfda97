//! A line of a quote held against what was recorded of it, and what to change because of it.

mod change;
mod cost;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::actual::{Share, Taken};
use super::content::{Content, Cost, Line};
use super::starts::{Proposal, Start};
pub(super) use cost::{Compared, Outcome};

/// Something to change, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Advice {
    pub(super) words: String,
    /// The page where it is changed, and its name.
    pub(super) place: Option<(&'static str, &'static str)>,
    /// What the next quotes could start from, where that can be taken over as it is.
    pub(super) proposal: Option<Proposal>,
}

/// A line as quoted and as it came out.
#[derive(Clone, Debug)]
pub(super) struct OfLine {
    pub(super) name: String,
    pub(super) quantity: u32,
    pub(super) taken: Taken,
    pub(super) costs: Vec<Compared>,
    pub(super) advice: Vec<Advice>,
}

impl OfLine {
    pub(super) fn more(&self) -> Decimal {
        self.costs.iter().map(Compared::more).sum()
    }

    /// What all of it was quoted at.
    pub(super) fn quoted(&self) -> Decimal {
        self.costs.iter().map(|cost| cost.quoted_cost).sum()
    }

    /// What was quoted for what was measured.
    pub(super) fn held_against(&self) -> Decimal {
        self.costs.iter().map(Compared::held_against).sum()
    }

    /// What was measured costs so much.
    pub(super) fn took(&self) -> Decimal {
        self.costs.iter().map(Compared::took).sum()
    }

    /// Whether anything was recorded that can be compared, or is too little for that.
    pub(super) fn measured(&self) -> bool {
        self.costs
            .iter()
            .any(|cost| cost.untold() || cost.taken.is_some_and(|taken| taken.measured))
    }
}

/// Differences smaller than this share are not worth a change of the price book.
const WORTH_A_CHANGE: f64 = 0.1;

const SETTINGS: Option<(&str, &str)> = Some(("/studio/settings", "The studio's settings"));

/// Holds a line of the quote against what was recorded of it: everything the quote charges,
/// also what nobody recorded.
///
/// `design` is the number of the line's design, if the line is still there.
pub(super) fn compare(content: &Content, line: &Line, design: Option<i32>, taken: Taken) -> OfLine {
    let holding = Holding { content, line, design, taken: &taken };
    let mut costs = Vec::new();
    let mut advice = Vec::new();
    for part in line.components.iter().filter(|part| !part.cost.is_zero()) {
        let (cost, more) = holding.part(part);
        costs.push(cost);
        advice.extend(more);
    }
    advice.extend(holding.metal_bought());
    let planned = i64::from(line.quantity) + i64::from(content.inputs.spares);
    if taken.attempts > planned {
        advice.push(Advice {
            words: format!(
                "{} attempts were made for {} pieces and {planned} were quoted: quote spares, or look at why they fail.",
                taken.attempts, line.quantity
            ),
            place: Some(("/yields", "Yields")),
            proposal: None,
        });
    }
    OfLine { name: line.name.clone(), quantity: line.quantity, taken, costs, advice }
}

struct Holding<'a> {
    content: &'a Content,
    line: &'a Line,
    design: Option<i32>,
    taken: &'a Taken,
}

impl Holding<'_> {
    /// The price of a unit as quoted, from the working.
    fn price(&self, part: &Cost) -> Decimal {
        let wanted = format!("cost of {}", part.name);
        let step = self.line.working.steps.iter().find(|step| step.result.name == wanted);
        step.and_then(|step| step.inputs.iter().find(|input| input.name == "price"))
            .and_then(|input| input.value.parse().ok())
            .unwrap_or_default()
    }

    /// Pieces that were quoted, with spares.
    fn made(&self) -> Decimal {
        Decimal::from(self.line.quantity) + Decimal::from(self.content.inputs.spares)
    }

    fn part(&self, part: &Cost) -> (Compared, Option<Advice>) {
        match (part.kind.as_str(), part.name.as_str()) {
            ("metal", _) => self.metal(part),
            ("print", "resin") => self.shared(
                part,
                Share::Resin,
                "ml",
                "Told at “Taken off the printer”: resin, as weighed.",
            ),
            ("print", _) => {
                self.shared(part, Share::Printer, "h", "Told at “Taken off the printer”: hours.")
            }
            ("investment", _) => {
                self.shared(part, Share::Powder, "kg", "The mix of a flask tells its powder.")
            }
            ("kiln", "gas") => self.shared(part, Share::Gas, "kg", METER),
            ("kiln", "kiln energy") => self.shared(part, Share::Energy, "kWh", METER),
            ("kiln", _) => {
                self.shared(part, Share::KilnHours, "h", "A load tells its hours when it ends.")
            }
            ("bench", "bench") => self.shared(
                part,
                Share::Bench,
                "min",
                "Told at the steps: supports off, cleaned, sprued, bubbles, poured, divested.",
            ),
            ("finishing", _) => self.finishing(part),
            ("bench" | "set-up", _) => {
                let quoted = self.minutes(part);
                (unrecorded(part, quoted, "min", "Nobody times it."), None)
            }
            _ => (unrecorded(part, Decimal::ONE, "×", "Compare it with its invoice."), None),
        }
    }

    /// Minutes quoted for work at a rate by the hour.
    fn minutes(&self, part: &Cost) -> Decimal {
        let hours = part.cost.checked_div(self.price(part)).unwrap_or_default();
        (hours * Decimal::from(60)).round_dp(0)
    }

    fn metal(&self, part: &Cost) -> (Compared, Option<Advice>) {
        let (line, taken) = (self.line, self.taken);
        let mut cost = Compared {
            what: "metal, with what was lost and filed off".to_owned(),
            ..unrecorded(part, line.metal_g, "g", "Finishing weighs it.")
        };
        if taken.weighed == 0 {
            return (cost, None);
        }
        let part = self.of_pieces(taken.weighed);
        let used = Decimal::new(taken.finished_cg + taken.filed_cg + taken.lost_cg, 2);
        let at = (used * line.metal_price).round_dp(2);
        let price = line.metal_price;
        cost.taken = Some(Outcome { amount: used, cost: at, price, measured: true, part });
        let gone = Decimal::new(taken.filed_cg + taken.lost_cg, 2);
        let share = (gone * Decimal::ONE_HUNDRED).checked_div(used).unwrap_or_default();
        let quoted = self.content.inputs.metal_loss_percent;
        let each = Decimal::new(taken.finished_cg, 2)
            .checked_div(Decimal::from(taken.weighed))
            .unwrap_or_default();
        let drawn = Decimal::try_from(line.weight_g).unwrap_or_default();
        let mut words = Vec::new();
        let mut proposal = None;
        if differs(quoted, share) {
            proposal = Some(studio(Start::MetalLoss, share * Decimal::new(1, 2)));
            words.push(format!(
                "{} % of the metal was lost or filed off, {} % were quoted: set “Metal lost” in the studio's settings nearer to it.",
                share.round_dp(1).normalize(),
                quoted.normalize()
            ));
        }
        if differs(drawn, each) {
            words.push(format!(
                "A finished piece weighs {} g, {} g were quoted: check the density of {} and the size of the model.",
                each.round_dp(2),
                drawn.round_dp(2),
                line.alloy
            ));
        }
        let place = SETTINGS;
        (cost, (!words.is_empty()).then(|| Advice { words: words.join(" "), place, proposal }))
    }

    /// The price book beside what the metal was bought for.
    fn metal_bought(&self) -> Option<Advice> {
        let rate = self.content.exchange.as_ref().map_or(Decimal::ONE, |exchange| exchange.rate);
        let quoted = self.line.metal_price.checked_div(rate)?;
        let bought = self.taken.bought_at?;
        let own = self.content.exchange.as_ref();
        let currency =
            own.map_or(self.content.currency.as_str(), |exchange| exchange.from.as_str());
        let plain = |price: Decimal| price.round_dp(4).normalize();
        (!quoted.is_zero() && differs(quoted, bought)).then(|| Advice {
            words: format!(
                "A gram of {} was bought for {} {currency}, by the lots that were poured; {} was quoted: see that the price book says what it costs now.",
                self.line.alloy,
                plain(bought),
                plain(quoted)
            ),
            place: Some(("/prices", "Prices")),
            proposal: None,
        })
    }

    fn finishing(&self, part: &Cost) -> (Compared, Option<Advice>) {
        let taken = self.taken;
        let quoted = self.minutes(part);
        let mut cost = unrecorded(part, quoted, "min", "Finishing asks for the minutes.");
        if taken.timed == 0 {
            return (cost, None);
        }
        let minutes = Decimal::from(taken.minutes);
        let price = self.price(part);
        let at = (minutes * price / Decimal::from(60)).round_dp(2);
        let part = self.of_pieces(taken.timed);
        cost.taken = Some(Outcome { amount: minutes, cost: at, price, measured: true, part });
        let each = minutes.checked_div(Decimal::from(taken.timed)).unwrap_or_default();
        let asked = quoted.checked_div(self.made()).unwrap_or_default();
        let advice = differs(asked, each).then(|| Advice {
            words: format!(
                "Finishing took {} min a piece, {} were quoted: type that on the order the next time this design is made.",
                each.round_dp(0),
                asked.round_dp(0)
            ),
            place: None,
            proposal: self.design.map(|design| of(Start::FinishingMinutes, design.to_string(), each)),
        });
        (cost, advice)
    }

    fn shared(
        &self,
        part: &Cost,
        share: Share,
        unit: &'static str,
        record: &'static str,
    ) -> (Compared, Option<Advice>) {
        let price = self.price(part);
        let minutes = share == Share::Bench;
        let quoted = if minutes {
            self.minutes(part)
        } else {
            part.cost.checked_div(price).unwrap_or_default().round_dp(3)
        };
        let mut cost = unrecorded(part, quoted, unit, record);
        let Some(measured) = self.taken.shares.get(&share) else { return (cost, None) };
        let amount = exact(measured.amount);
        let at = if minutes { amount * price / Decimal::from(60) } else { amount * price };
        // Steps of the bench take different times, so some of them tell nothing about the others.
        let whole = measured.known >= measured.all;
        let told = measured.measured && (whole || !minutes);
        let part = self.of_attempts(measured.known, measured.all, minutes);
        cost.taken = Some(Outcome { amount, cost: at.round_dp(2), price, measured: told, part });
        if minutes && !whole {
            cost.record = "Not every step that was done has its minutes, so they are no sum.";
        }
        // From what the program worked out itself nothing can be learned.
        let quoted = (quoted * part).round_dp(3);
        let learned = told && differs(quoted, amount);
        let advice = learned.then(|| Advice {
            words: self.change(share, measured, quoted, amount),
            place: if share == Share::Bench { SETTINGS } else { None },
            proposal: self.proposal(share, measured, quoted, amount),
        });
        (cost, advice)
    }

    /// The part of the line that so many finished pieces are: of those that are ready once all
    /// are, of all that were quoted before.
    fn of_pieces(&self, known: i64) -> Decimal {
        let taken = self.taken;
        let all = if taken.open == 0 { Decimal::from(taken.done) } else { self.made() };
        part(Decimal::from(known), all)
    }

    /// The part of the line of which something is known, of so many attempts that came so far:
    /// all that were quoted as long as there are pieces to be made.
    fn of_attempts(&self, known: i64, all: i64, steps: bool) -> Decimal {
        if steps && known >= all {
            return Decimal::ONE;
        }
        let came = Decimal::from(all);
        let all = if self.taken.open == 0 { came } else { came.max(self.made()) };
        part(Decimal::from(known), all)
    }
}

const METER: &str = "Read the meter when the firing is done: a step of the load.";

fn unrecorded(part: &Cost, quoted: Decimal, unit: &'static str, record: &'static str) -> Compared {
    let (what, quoted_cost) = (part.name.clone(), part.cost);
    Compared { what, unit, quoted, quoted_cost, taken: None, record }
}

/// A part of a whole, at most all of it.
fn part(known: Decimal, all: Decimal) -> Decimal {
    known.checked_div(all).unwrap_or(Decimal::ONE).min(Decimal::ONE)
}

/// A proposal for a thing.
fn of(what: Start, item: String, after: Decimal) -> Proposal {
    Proposal { what, item, after: what.within(after) }
}

/// A proposal for the whole studio.
fn studio(what: Start, after: Decimal) -> Proposal {
    of(what, String::new(), after)
}

fn exact(value: f64) -> Decimal {
    Decimal::try_from(value).unwrap_or_default().round_dp(4)
}

fn differs(quoted: Decimal, taken: Decimal) -> bool {
    let (quoted, taken) = (quoted.to_f64().unwrap_or_default(), taken.to_f64().unwrap_or_default());
    (taken - quoted).abs() > WORTH_A_CHANGE * quoted.abs().max(1e-9)
}
