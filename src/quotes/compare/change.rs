//! What to turn in the next quotes, in words and as values they could start from.

use rust_decimal::Decimal;

use super::super::actual::{Share, Shared};
use super::super::starts::{Proposal, Start};
use super::{Holding, differs, exact, of, studio};

impl Holding<'_> {
    /// What quotes could start from instead. How many share a batch they know by themselves, from
    /// the last thirty.
    pub(super) fn proposal(
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
    pub(super) fn change(
        &self,
        share: Share,
        of: &Shared,
        quoted: Decimal,
        taken: Decimal,
    ) -> String {
        let inputs = &self.content.inputs;
        let whole = |value: f64| exact(value).round_dp(1).normalize();
        let plain = |value: Decimal| value.normalize().to_string();
        let of_load = |unit: &str, what: &str, quoted: Decimal, field: &str, places: u32| {
            format!(
                "A load took {} {unit}{what} for {} flasks, {} {unit} for {} were quoted: turn “{field} of a load” and “Shares a load with”.",
                exact(of.of_batch).round_dp(places).normalize(),
                whole(of.in_batch),
                plain(quoted),
                inputs.flasks_in_load
            )
        };
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
            Share::Energy => of_load("kWh", "", inputs.kiln_kwh, "Energy", 1),
            Share::Gas => of_load("kg", " of gas", inputs.gas_kg, "Gas", 2),
            Share::KilnHours => of_load("h", "", inputs.kiln_hours, "Hours", 1),
            Share::Bench => format!(
                "Bench and pour took {} min a piece, {} were quoted: set “Bench” in the studio's settings nearer to it.",
                self.of_attempt(taken).round_dp(0),
                inputs.bench_minutes
            ),
        }
    }
}
