//! A price list as it is pasted or read from a file: one price a line. No SQL.

use foundry::metal::Element;
use rust_decimal::Decimal;

use super::forms::PriceForm;
use super::model::{EACH, TYPED_UNITS, money, per_own_unit};
use super::view::Item;
use crate::clock::Day;

/// So many lines are read at once.
const MOST_LINES: usize = 2000;

/// A line of the list: what was read, or what is wrong with it.
#[derive(Clone, Debug)]
pub(super) struct Line {
    /// Its number, from one.
    pub(super) number: usize,
    /// As it was typed.
    pub(super) typed: String,
    /// What it means.
    pub(super) read: Result<(String, PriceForm), String>,
}

/// What a list is read against.
pub(super) struct Against<'a> {
    pub(super) items: &'a [Item],
    pub(super) currency: &'a str,
    pub(super) today: Day,
    /// Prices that are noted already may be put right.
    pub(super) correct: bool,
}

/// Reads a list: what, price, and if wanted for which unit and from which day, separated by
/// tabs, semicolons or commas. Lines that are empty, and a first line that names nothing and has
/// no number, are left out.
pub(super) fn read(text: &str, against: &Against<'_>) -> Vec<Line> {
    let separator = ['\t', ';'].into_iter().find(|sign| text.contains(*sign)).unwrap_or(',');
    let mut lines = Vec::new();
    for (at, typed) in text.lines().enumerate() {
        if typed.trim().is_empty() {
            continue;
        }
        if lines.len() == MOST_LINES {
            let why =
                format!("Only the first {MOST_LINES} lines are read; paste the rest by itself.");
            lines.push(Line { number: at + 1, typed: short(typed), read: Err(why) });
            break;
        }
        let fields: Vec<String> = split(typed, separator);
        let is_head = at == 0
            && fields.get(1).is_some_and(|field| !field.contains(|c: char| c.is_ascii_digit()))
            && !against.items.iter().any(|item| is_meant(item, &fields[0]));
        if is_head {
            continue;
        }
        lines.push(Line { number: at + 1, typed: short(typed), read: one(&fields, against) });
    }
    let mut seen: Vec<(String, Day)> = Vec::new();
    for line in &mut lines {
        if let Ok((_, price)) = &line.read {
            let key = (format!("{}:{}", price.kind.word(), price.item), price.valid_from);
            if seen.contains(&key) {
                line.read = Err("There is a line for the same thing and day above.".to_owned());
            } else {
                seen.push(key);
            }
        }
    }
    lines
}

/// Splits a line; a field in double quotes may hold the separator, as in RFC 4180.
fn split(line: &str, separator: char) -> Vec<String> {
    let (mut fields, mut field, mut quoted) = (Vec::new(), String::new(), false);
    let mut letters = line.chars().peekable();
    while let Some(letter) = letters.next() {
        match letter {
            '"' if quoted && letters.peek() == Some(&'"') => {
                field.push('"');
                letters.next();
            }
            '"' => quoted = !quoted,
            other if other == separator && !quoted => fields.push(std::mem::take(&mut field)),
            other => field.push(other),
        }
    }
    fields.push(field);
    fields.into_iter().map(|field| field.trim().to_owned()).collect()
}

fn one(fields: &[String], against: &Against<'_>) -> Result<(String, PriceForm), String> {
    let field = |at: usize| fields.get(at).map(String::as_str).unwrap_or_default();
    let what = field(0);
    let mut found = against.items.iter().filter(|item| is_meant(item, what));
    let Some(item) = found.next() else {
        return Err(format!(
            "Nothing here is called “{}”. Write the name as it stands in the list of prices, or a metal's symbol.",
            short(what)
        ));
    };
    if found.next().is_some() {
        return Err(format!(
            "“{}” is the name of more than one thing; note this one by hand.",
            short(what)
        ));
    }
    let typed = field(1).replace(',', ".").replace([' ', '\u{a0}', '\u{202f}'], "");
    let amount: Decimal =
        typed.parse().map_err(|_| format!("“{}” is not a price.", short(field(1))))?;
    if amount < Decimal::ZERO || amount > Decimal::from(100_000_000) {
        return Err("A price must be between 0 and 100000000.".to_owned());
    }
    let most = item.kind.decimals();
    if amount.normalize().scale() > most {
        return Err(format!("At most {most} decimals can be kept in a price."));
    }
    let unit = field(2);
    if unit != EACH && !TYPED_UNITS.iter().any(|(known, _)| *known == unit) {
        return Err(format!(
            "“{}” is not a unit known here; write g, kg, ozt, dwt, ml, l or kWh, or each for a rate of exchange.",
            short(unit)
        ));
    }
    let day = match field(3) {
        "" => against.today,
        typed => Day(typed
            .parse()
            .map_err(|_| format!("“{}” is not a day; write it like 2026-11-25.", short(typed)))?),
    };
    if day.0.year() < 2000 || day > against.today.plus_days(366) {
        return Err("The day must lie between the year 2000 and a year from now.".to_owned());
    }
    let in_money = money(amount, against.currency)
        .ok_or_else(|| "The studio's currency is not known.".to_owned())?;
    let amount = per_own_unit(item.kind, in_money, unit)?;
    let price = PriceForm {
        kind: item.kind,
        item: item.item.clone(),
        amount,
        valid_from: day,
        correct: against.correct,
    };
    Ok((item.name.clone(), price))
}

/// Whether a name in the list means this thing: its name, its symbol, or its metal's name.
fn is_meant(item: &Item, what: &str) -> bool {
    let same =
        |name: &str| name.eq_ignore_ascii_case(what) || name.to_lowercase() == what.to_lowercase();
    same(&item.name)
        || (item.kind == super::PriceKind::FineMetal
            && (same(&item.item)
                || Element::by_symbol(&item.item).is_some_and(|metal| same(metal.name()))))
}

fn short(text: &str) -> String {
    text.chars().take(80).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::prices::PriceKind;

    fn item(kind: PriceKind, item: &str, name: &str) -> Item {
        Item {
            kind,
            item: item.to_owned(),
            name: name.to_owned(),
            valid_from: None,
            later: None,
            price: Err(String::new()),
        }
    }

    fn read_all(text: &str) -> Vec<Result<(String, String, String), String>> {
        let items = [
            item(PriceKind::FineMetal, "Ag", "Silver (Ag)"),
            item(PriceKind::FineMetal, "Au", "Gold (Au)"),
            item(PriceKind::Resin, "r", "Castable; blue"),
            item(PriceKind::Exchange, "USD", "USD"),
        ];
        let today = Day("2026-11-25".parse().unwrap());
        let against = Against { items: &items, currency: "EUR", today, correct: false };
        read(text, &against)
            .into_iter()
            .map(|line| {
                line.read.map(|(name, price)| {
                    (name, price.amount.normalize().to_string(), price.valid_from.to_string())
                })
            })
            .collect()
    }

    fn right(name: &str, amount: &str, day: &str) -> Result<(String, String, String), String> {
        Ok((name.to_owned(), amount.to_owned(), day.to_owned()))
    }

    #[test]
    fn lists_are_read_with_any_separator_and_a_head() {
        assert_eq!(
            read_all("what;price;for;from\nAg;31,1034768;ozt;2026-11-20\n\nsilver (ag);0.9\n"),
            [right("Silver (Ag)", "1", "2026-11-20"), right("Silver (Ag)", "0.9", "2026-11-25"),]
        );
        assert_eq!(read_all("gold\t70\tg"), [right("Gold (Au)", "70", "2026-11-25")]);
        assert_eq!(
            read_all("usd;1,0842\nUSD;0.8;each;2026-11-20"),
            [right("USD", "1.0842", "2026-11-25"), right("USD", "1.25", "2026-11-20")]
        );
        assert_eq!(
            read_all("\"Castable; blue\";240;l"),
            [right("Castable; blue", "0.24", "2026-11-25")]
        );
    }

    #[test]
    fn each_wrong_line_says_what_is_wrong_with_it() {
        let lines = read_all(
            "Ag;lots\nUnobtainium;1\nAg;1;pint\nAg;1;g;soon\nAg;0.123456789012\nAg;-1\nAg;1;ml\nAg;1\nAg;2\nAg",
        );
        for (line, words) in lines.iter().zip([
            "not a price",
            "Nothing here is called",
            "not a unit",
            "not a day",
            "At most 8 decimals",
            "between 0",
            "priced by the gram",
            "",
            "same thing and day",
            "not a price",
        ]) {
            match line {
                Ok(_) => assert!(words.is_empty(), "{line:?}"),
                Err(why) => assert!(!words.is_empty() && why.contains(words), "{why} / {words}"),
            }
        }
        assert_eq!(lines.len(), 10);
    }
}
