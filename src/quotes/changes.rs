//! What changed from one version of a quote to the next. No SQL.

use rust_decimal::Decimal;

use super::content::{Content, Line};

/// One thing that changed: what, from, to. An amount is in the currency of its quote.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// What.
    pub what: String,
    /// As it was; empty when it was not there.
    pub before: String,
    /// As it is; empty when it is gone.
    pub after: String,
}

impl Change {
    fn new(what: impl Into<String>, before: impl ToString, after: impl ToString) -> Option<Self> {
        let (before, after) = (before.to_string(), after.to_string());
        (before != after).then(|| Self { what: what.into(), before, after })
    }
}

/// Whether two versions of a line are one. What stands beside the order's lines goes by its name.
fn same(one: &Line, other: &Line) -> bool {
    one.n == other.n && (one.n > 0 || one.name == other.name)
}

fn money(amount: Decimal, content: &Content) -> String {
    let digits = foundry::quantity::Currency::by_code(&content.currency)
        .map_or(2, |known| known.minor_digits()) as usize;
    format!("{amount:.digits$} {}", content.currency)
}

/// What a client can see of the difference between two versions.
#[must_use]
pub fn for_client(before: &Content, after: &Content) -> Vec<Change> {
    let mut changes = Vec::new();
    for line in &after.lines {
        let name = &line.name;
        match before.lines.iter().find(|old| same(old, line)) {
            None => changes.extend(Change::new(name.clone(), "", line_words(line, after))),
            Some(old) => {
                changes.extend(Change::new(name.clone(), &old.name, name));
                changes.extend(Change::new(format!("{name}: pieces"), old.quantity, line.quantity));
                changes.extend(Change::new(format!("{name}: alloy"), &old.alloy, &line.alloy));
                let made = [old, line].map(Line::particulars);
                changes.extend(Change::new(format!("{name}: made"), &made[0], &made[1]));
                let price = |line: &Line, content| {
                    line.unit_price.map(|price| money(price, content)).unwrap_or_default()
                };
                changes.extend(Change::new(
                    format!("{name}: a piece"),
                    price(old, before),
                    price(line, after),
                ));
                let tax = |line: &Line, content: &Content| {
                    let tax = content.tax_of(line);
                    format!("{} {} %", tax.name, tax.percent)
                };
                if before.taxes_differ() || after.taxes_differ() {
                    let what = format!("{name}: tax");
                    changes.extend(Change::new(what, tax(old, before), tax(line, after)));
                }
            }
        }
    }
    for old in &before.lines {
        if !after.lines.iter().any(|line| same(old, line)) {
            changes.extend(Change::new(old.name.clone(), line_words(old, before), ""));
        }
    }
    changes.extend(Change::new("currency", &before.currency, &after.currency));
    let sums = |content: &Content| {
        [
            ("discount", content.totals.discount),
            ("tax", content.totals.tax),
            ("total", content.totals.gross),
            ("deposit", content.deposit),
        ]
        .map(|(what, amount)| (what, money(amount, content)))
    };
    for ((what, was), (_, is)) in sums(before).into_iter().zip(sums(after)) {
        changes.extend(Change::new(what, was, is));
    }
    let names = |content: &Content| {
        content.options.iter().map(|choice| choice.name.as_str()).collect::<Vec<_>>().join(", ")
    };
    changes.extend(Change::new("to choose from", names(before), names(after)));
    changes.extend(Change::new("metal", rule(before), rule(after)));
    changes
}

fn rule(content: &Content) -> &'static str {
    match content.metal_rule {
        super::choices::MetalRule::Fixed => "at the price quoted",
        super::choices::MetalRule::DayOfYes => "at the price of the day of your yes",
    }
}

fn line_words(line: &Line, content: &Content) -> String {
    let price = money(line.amounts.list, content);
    match line.alloy.as_str() {
        "" => price,
        alloy => format!("{} × in {alloy}, {price}", line.quantity),
    }
}

/// The same and what only the owner sees: cost, what is earned, what was turned.
pub(super) fn for_owner(before: &Content, after: &Content) -> Vec<Change> {
    let mut changes = for_client(before, after);
    for ((what, was), (_, is)) in inside(before).into_iter().zip(inside(after)) {
        changes.extend(Change::new(what, was, is));
    }
    changes
}

fn inside(content: &Content) -> Vec<(&'static str, String)> {
    let inputs = &content.inputs;
    let percent = |value: Decimal| format!("{} %", value.normalize());
    let rate = content.exchange.as_ref().map(|exchange| exchange.words(&content.currency));
    vec![
        ("rate of exchange", rate.unwrap_or_default()),
        ("cost", money(content.totals.cost, content)),
        ("earned", money(content.totals.earned, content)),
        ("margin", percent(inputs.margin_percent)),
        ("overhead", percent(inputs.overhead_percent)),
        ("discount", percent(inputs.discount_percent)),
        ("metal lost", percent(inputs.metal_loss_percent)),
        ("bench minutes a piece", inputs.bench_minutes.to_string()),
        ("set-up minutes", inputs.set_up_minutes.to_string()),
        ("spares", inputs.spares.to_string()),
        ("bought in", bought(content)),
    ]
}

/// What is bought in, in the studio's currency, in which it is typed.
fn bought(content: &Content) -> String {
    let own = content.exchange.as_ref().map_or(&content.currency, |exchange| &exchange.from);
    let each = content.inputs.all_bought().into_iter().map(|bought| {
        let per = if bought.each { " a piece" } else { "" };
        format!("{} {} {own}{per}", bought.name, bought.amount.normalize())
    });
    each.collect::<Vec<_>>().join(", ")
}
