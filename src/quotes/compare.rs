//! A line of a quote held against what was recorded of it, and what to change because of it.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::actual::{Share, Shared, Taken};
use super::content::{Content, Cost, Line};
use super::starts::{Proposal, Start};

/// A cost as quoted and as it came out; both for the whole line.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Compared {
    pub(super) what: String,
    pub(super) unit: &'static str,
    /// In the unit of the thing itself.
    pub(super) quoted: Decimal,
    pub(super) quoted_cost: Decimal,
    /// The same as it was recorded; nothing when it was not.
    pub(super) taken: Option<Outcome>,
    /// Where it is recorded, when it was not.
    pub(super) record: &'static str,
}

/// What was recorded, and what it costs at the price quoted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Outcome {
    pub(super) amount: Decimal,
    pub(super) cost: Decimal,
    /// Weighed, read or told; else the program worked it out.
    pub(super) measured: bool,
}

impl Compared {
    /// How much more was taken than quoted; nothing as long as nothing was measured.
    pub(super) fn more(&self) -> Decimal {
        self.taken
            .filter(|taken| taken.measured)
            .map_or(Decimal::ZERO, |taken| taken.cost - self.quoted_cost)
    }
}

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

    /// Whether anything was recorded that can be compared.
    pub(super) fn measured(&self) -> bool {
        self.costs.iter().any(|cost| cost.taken.is_some_and(|taken| taken.measured))
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
        let used = Decimal::new(taken.finished_cg + taken.filed_cg + taken.lost_cg, 2);
        let at = (used * line.metal_price).round_dp(2);
        cost.taken = Some(Outcome { amount: used, cost: at, measured: true });
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

    fn finishing(&self, part: &Cost) -> (Compared, Option<Advice>) {
        let taken = self.taken;
        let quoted = self.minutes(part);
        let mut cost = unrecorded(part, quoted, "min", "Finishing asks for the minutes.");
        if taken.timed == 0 {
            return (cost, None);
        }
        let minutes = Decimal::from(taken.minutes);
        let at = (minutes * self.price(part) / Decimal::from(60)).round_dp(2);
        cost.taken = Some(Outcome { amount: minutes, cost: at, measured: true });
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
        cost.taken = Some(Outcome { amount, cost: at.round_dp(2), measured: measured.measured });
        // From what the program worked out itself nothing can be learned.
        let learned = measured.measured && differs(quoted, amount);
        let advice = learned.then(|| Advice {
            words: self.change(share, measured, quoted, amount),
            place: if share == Share::Bench { SETTINGS } else { None },
            proposal: self.proposal(share, measured, quoted, amount),
        });
        (cost, advice)
    }

    /// What quotes could start from instead. How many share a batch they know by themselves, from
    /// the last thirty.
    fn proposal(
        &self,
        share: Share,
        measured: &Shared,
        quoted: Decimal,
        taken: Decimal,
    ) -> Option<Proposal> {
        let inputs = &self.content.inputs;
        let batch = exact(measured.of_batch);
        let kiln = || inputs.kiln.map(|id| id.to_string());
        let of_load = |start, quoted: Decimal| {
            differs(quoted, batch).then(kiln).flatten().map(|kiln| of(start, kiln, batch))
        };
        match share {
            Share::Resin => Some(studio(Start::SupportsPercent, self.supports(quoted, taken))),
            Share::Printer => None,
            Share::Powder => {
                differs(inputs.powder_kg, batch).then(|| studio(Start::PowderKg, batch))
            }
            Share::Energy => of_load(Start::KilnKwh, inputs.kiln_kwh),
            Share::Gas => of_load(Start::GasKg, inputs.gas_kg),
            Share::KilnHours => of_load(Start::KilnHours, inputs.kiln_hours),
            Share::Bench => Some(studio(Start::BenchMinutes, self.of_attempt(taken))),
        }
    }

    /// Supports in per cent of the model that would have been right.
    fn supports(&self, quoted: Decimal, taken: Decimal) -> Decimal {
        let with = Decimal::ONE_HUNDRED + self.content.inputs.supports_percent;
        (taken * with).checked_div(quoted).unwrap_or_default() - Decimal::ONE_HUNDRED
    }

    fn of_attempt(&self, taken: Decimal) -> Decimal {
        taken / Decimal::from(self.taken.attempts.max(1))
    }

    /// What to turn in the next quote, with the value that would have been right.
    fn change(&self, share: Share, of: &Shared, quoted: Decimal, taken: Decimal) -> String {
        let inputs = &self.content.inputs;
        let whole = |value: f64| exact(value).round_dp(1).normalize();
        let plain = |value: Decimal| value.normalize().to_string();
        match share {
            Share::Resin => {
                format!(
                    "{} ml of resin were used, {} quoted: turn “Supports” from {} % to {} % of the model.",
                    taken.round_dp(1).normalize(),
                    quoted.round_dp(1).normalize(),
                    plain(inputs.supports_percent),
                    self.supports(quoted, taken).round_dp(0)
                )
            }
            Share::Printer => format!(
                "The plates took {} h for this line, {} h were quoted: turn “Shares a plate with” from {} to {} pieces, the mean of its plates.",
                taken.round_dp(2).normalize(),
                quoted.round_dp(2).normalize(),
                inputs.pieces_on_plate,
                whole(of.in_batch).round()
            ),
            Share::Powder => format!(
                "A flask took {} kg of powder for {} pieces, {} kg for {} were quoted: turn “Powder for a flask” and “Shares a flask with”.",
                exact(of.of_batch).round_dp(2).normalize(),
                whole(of.in_batch),
                plain(inputs.powder_kg),
                inputs.pieces_in_flask
            ),
            Share::Energy => format!(
                "A load took {} kWh for {} flasks, {} kWh for {} were quoted: turn “Energy of a load” and “Shares a load with”.",
                whole(of.of_batch),
                whole(of.in_batch),
                plain(inputs.kiln_kwh),
                inputs.flasks_in_load
            ),
            Share::Gas => format!(
                "A load took {} kg of gas for {} flasks, {} kg for {} were quoted: turn “Gas of a load” and “Shares a load with”.",
                exact(of.of_batch).round_dp(2).normalize(),
                whole(of.in_batch),
                plain(inputs.gas_kg),
                inputs.flasks_in_load
            ),
            Share::KilnHours => format!(
                "A load took {} h for {} flasks, {} h for {} were quoted: turn “Hours of a load” and “Shares a load with”.",
                whole(of.of_batch),
                whole(of.in_batch),
                plain(inputs.kiln_hours),
                inputs.flasks_in_load
            ),
            Share::Bench => format!(
                "Bench and pour took {} min a piece, {} were quoted: set “Bench” in the studio's settings nearer to it.",
                self.of_attempt(taken).round_dp(0),
                inputs.bench_minutes
            ),
        }
    }
}

const METER: &str = "Read the meter when the firing is done: a step of the load.";

fn unrecorded(part: &Cost, quoted: Decimal, unit: &'static str, record: &'static str) -> Compared {
    let (what, quoted_cost) = (part.name.clone(), part.cost);
    Compared { what, unit, quoted, quoted_cost, taken: None, record }
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
