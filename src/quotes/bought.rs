//! What is bought in for an order: stones, findings, plating, carriage.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::web::Form;

/// Something bought in: stones, findings, plating, carriage.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct BoughtIn {
    /// What the client reads.
    pub(super) name: String,
    pub(super) amount: Decimal,
    /// The line it belongs to; none makes a line of it.
    pub(super) line: Option<i32>,
    /// Whether the amount is for each piece of the line, not for all of them.
    pub(super) each: bool,
}

/// So many things can be bought in.
pub(super) const MOST_BOUGHT: usize = 4;

/// The word for a line of its own.
pub(super) const APART: &str = "apart";

/// What is bought in: each with a name, for the client reads it, an amount and a line.
pub(super) fn read(form: &mut Form) -> Vec<BoughtIn> {
    let mut bought = Vec::new();
    for at in 0..MOST_BOUGHT {
        let [name_field, amount_field, line_field, per_field] =
            ["name", "amount", "line", "per"].map(|part| format!("bought{at}_{part}"));
        let name = form.line(&name_field, 100);
        let typed = form.value(&amount_field).trim().to_owned();
        let nothing = typed.parse().is_ok_and(|amount: Decimal| amount.is_zero());
        if name.is_empty() && (typed.is_empty() || nothing) {
            continue;
        }
        if typed.is_empty() {
            form.wrong(&amount_field, "Type what it costs, or take the name out.");
            continue;
        }
        let amount = form.decimal(&amount_field, Decimal::ZERO, Decimal::from(10_000_000), 4);
        if name.is_empty() {
            form.wrong(&name_field, "Say what it is, such as “cabochons”; the client reads it.");
        }
        let line = match form.value(&line_field) {
            APART => None,
            n => match n.parse() {
                Ok(n) => Some(n),
                Err(_) => {
                    form.wrong(&line_field, "Choose the line that it belongs to.");
                    None
                }
            },
        };
        let each = line.is_some() && form.value(&per_field) == "piece";
        if let Some(amount) = amount {
            bought.push(BoughtIn { name, amount, line, each });
        }
    }
    bought
}

/// Puts it into a form.
pub(super) fn fill(form: &mut Form, bought: &[BoughtIn]) {
    for (at, each) in bought.iter().enumerate() {
        let line = each.line.map_or_else(|| APART.to_owned(), |n| n.to_string());
        form.put(&format!("bought{at}_name"), &each.name);
        form.put(&format!("bought{at}_amount"), &each.amount.normalize().to_string());
        form.put(&format!("bought{at}_line"), &line);
        form.put(&format!("bought{at}_per"), if each.each { "piece" } else { "" });
    }
}
