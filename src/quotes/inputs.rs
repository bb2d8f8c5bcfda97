//! What the owner may turn while pricing.

use foundry::quantity::Currency;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::bought::{self, BoughtIn};
use super::choices::{MetalRule, OptionSpec};
use crate::clock::Day;
use crate::id::{AlloyId, InvestmentId, KilnId, PrinterId, ResinId, TaskId, TaxId};
use crate::web::Form;

/// Everything about a price that is not on the order itself. A machine or
/// material that is not chosen is not charged.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Inputs {
    pub(super) resin: Option<ResinId>,
    pub(super) supports_percent: Decimal,
    pub(super) printer: Option<PrinterId>,
    pub(super) pieces_on_plate: u32,
    pub(super) investment: Option<InvestmentId>,
    pub(super) powder_kg: Decimal,
    pub(super) pieces_in_flask: u32,
    pub(super) kiln: Option<KilnId>,
    pub(super) kiln_kwh: Decimal,
    pub(super) kiln_hours: Decimal,
    pub(super) flasks_in_load: u32,
    pub(super) set_up_minutes: u32,
    pub(super) bench_minutes: u32,
    pub(super) spares: u32,
    pub(super) metal_loss_percent: Decimal,
    pub(super) overhead_percent: Decimal,
    pub(super) margin_percent: Decimal,
    pub(super) discount_percent: Decimal,
    pub(super) deposit_percent: Decimal,
    pub(super) valid_days: u32,
    pub(super) ready_by: Option<Day>,
    pub(super) message: String,
    /// What is bought in for it.
    #[serde(default)]
    pub(super) bought: Vec<BoughtIn>,
    /// How quotes were kept when one thing could be bought in, for the first line.
    #[serde(default, skip_serializing)]
    pub(super) extra_name: String,
    /// What that cost.
    #[serde(default, skip_serializing)]
    pub(super) extra_amount: Decimal,
    /// Whether the set-up stands as a line of its own, not within the lines.
    #[serde(default)]
    pub(super) set_up_apart: bool,
    /// How the metal is priced.
    #[serde(default)]
    pub(super) metal_rule: MetalRule,
    /// Lines whose metal the client brings, by their number.
    #[serde(default)]
    pub(super) own_lines: Vec<i32>,
    /// What the main way is called beside the others.
    #[serde(default)]
    pub(super) asked_name: String,
    /// Other ways to make it.
    #[serde(default)]
    pub(super) options: Vec<OptionSpec>,
    /// Gas for a kiln load.
    #[serde(default)]
    pub(super) gas_kg: Decimal,
    /// Another tax than the studio's.
    #[serde(default)]
    pub(super) tax: Option<TaxId>,
    /// Work by task: which, minutes, and whether for each piece.
    #[serde(default)]
    pub(super) tasks: Vec<TaskSpec>,
    /// Lines with a tax of their own, by their number.
    #[serde(default)]
    pub(super) line_taxes: Vec<(i32, TaxId)>,
    /// Another currency than the studio's, and its rate.
    #[serde(default)]
    pub(super) abroad: Option<Abroad>,
}

/// Another currency than the studio's.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Abroad {
    /// Its ISO 4217 code.
    pub(super) currency: String,
    /// How much of it one unit of the studio's currency buys.
    pub(super) rate: Decimal,
    /// The day of the rate.
    pub(super) on: Day,
}

/// Work of a task on an order.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct TaskSpec {
    pub(super) task: TaskId,
    pub(super) minutes: u32,
    pub(super) each: bool,
}

/// So many tasks can be charged.
pub(super) const MOST_TASKS: usize = 3;

/// So many other ways can be offered beside what was asked.
pub(super) const MOST_OPTIONS: usize = 3;

impl Inputs {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form, today: Day, own_currency: &str) -> Option<Self> {
        let ready_by = form.day_or_none("ready_by");
        if ready_by.is_some_and(|day| day < today) {
            form.wrong(
                "ready_by",
                "This day has passed. Choose today or a later day, or leave it open.",
            );
        }
        // Every field is read, so that all that is wrong is told at once; what could not be read
        // never leaves here.
        let percent = |form: &mut Form, name: &str, most: i64| {
            form.decimal(name, Decimal::ZERO, Decimal::new(most, 2).normalize(), 4)
                .unwrap_or_default()
        };
        let amount = |form: &mut Form, name: &str, most: i64, decimals: u32| {
            form.decimal(name, Decimal::ZERO, Decimal::from(most), decimals).unwrap_or_default()
        };
        let number = |form: &mut Form, name: &str, least: i64, most: i64| {
            count(form, name, least, most).unwrap_or_default()
        };
        let inputs = Self {
            resin: chosen(form, "resin"),
            supports_percent: percent(form, "supports_percent", 50_000),
            printer: chosen(form, "printer"),
            pieces_on_plate: number(form, "pieces_on_plate", 1, 10_000),
            investment: chosen(form, "investment"),
            powder_kg: amount(form, "powder_kg", 1000, 4),
            pieces_in_flask: number(form, "pieces_in_flask", 1, 10_000),
            kiln: chosen(form, "kiln"),
            kiln_kwh: amount(form, "kiln_kwh", 10_000, 3),
            kiln_hours: amount(form, "kiln_hours", 1000, 3),
            flasks_in_load: number(form, "flasks_in_load", 1, 1000),
            set_up_minutes: number(form, "set_up_minutes", 0, 100_000),
            bench_minutes: number(form, "bench_minutes", 0, 100_000),
            spares: number(form, "spares", 0, 1000),
            metal_loss_percent: percent(form, "metal_loss_percent", 5_000),
            overhead_percent: percent(form, "overhead_percent", 100_000),
            margin_percent: percent(form, "margin_percent", 9_500),
            discount_percent: percent(form, "discount_percent", 10_000),
            deposit_percent: percent(form, "deposit_percent", 10_000),
            valid_days: number(form, "valid_days", 1, 365),
            ready_by,
            message: form.text("message", 4000),
            bought: bought::read(form),
            extra_name: String::new(),
            extra_amount: Decimal::ZERO,
            set_up_apart: form.value("set_up_as") == "apart",
            metal_rule: match form.value("metal_rule") {
                "day_of_yes" => MetalRule::DayOfYes,
                _ => MetalRule::Fixed,
            },
            own_lines: form.all("own_line").filter_map(|n| n.parse().ok()).collect(),
            asked_name: form.line("asked_name", 60),
            options: options(form),
            gas_kg: if form.value("gas_kg").trim().is_empty() {
                Decimal::ZERO
            } else {
                amount(form, "gas_kg", 1000, 4)
            },
            tax: chosen(form, "tax"),
            tasks: tasks(form),
            line_taxes: line_taxes(form),
            abroad: abroad(form, today, own_currency),
        };
        form.good().then_some(inputs)
    }

    /// What is bought in, also of quotes that were kept when it was one thing for the first line.
    pub(super) fn all_bought(&self) -> Vec<BoughtIn> {
        let mut bought = self.bought.clone();
        if !self.extra_amount.is_zero() {
            let name = match self.extra_name.as_str() {
                "" => "bought in",
                name => name,
            };
            let (name, amount) = (name.to_owned(), self.extra_amount);
            bought.insert(0, BoughtIn { name, amount, line: Some(1), each: false });
        }
        bought
    }

    /// The form with these inputs in it.
    pub(super) fn form(&self) -> Form {
        let id = |id: Option<String>| id.unwrap_or_default();
        let plain = |value: Decimal| value.normalize().to_string();
        let mut form = Form::filled([
            ("resin", id(self.resin.map(|id| id.to_string()))),
            ("supports_percent", plain(self.supports_percent)),
            ("printer", id(self.printer.map(|id| id.to_string()))),
            ("pieces_on_plate", self.pieces_on_plate.to_string()),
            ("investment", id(self.investment.map(|id| id.to_string()))),
            ("powder_kg", plain(self.powder_kg)),
            ("pieces_in_flask", self.pieces_in_flask.to_string()),
            ("kiln", id(self.kiln.map(|id| id.to_string()))),
            ("kiln_kwh", plain(self.kiln_kwh)),
            ("kiln_hours", plain(self.kiln_hours)),
            ("flasks_in_load", self.flasks_in_load.to_string()),
            ("set_up_minutes", self.set_up_minutes.to_string()),
            ("bench_minutes", self.bench_minutes.to_string()),
            ("spares", self.spares.to_string()),
            ("metal_loss_percent", plain(self.metal_loss_percent)),
            ("overhead_percent", plain(self.overhead_percent)),
            ("margin_percent", plain(self.margin_percent)),
            ("discount_percent", plain(self.discount_percent)),
            ("deposit_percent", plain(self.deposit_percent)),
            ("valid_days", self.valid_days.to_string()),
            ("ready_by", self.ready_by.map(|day| day.to_string()).unwrap_or_default()),
            ("message", self.message.clone()),
            ("metal_rule", self.metal_rule.word().to_owned()),
            ("asked_name", self.asked_name.clone()),
        ]);
        form.put("set_up_as", if self.set_up_apart { "apart" } else { "" });
        bought::fill(&mut form, &self.all_bought());
        form.put("gas_kg", &plain(self.gas_kg));
        form.put("tax", &id(self.tax.map(|id| id.to_string())));
        for (at, task) in self.tasks.iter().enumerate() {
            form.put(&format!("task{at}"), &task.task.to_string());
            form.put(&format!("task{at}_minutes"), &task.minutes.to_string());
            form.put(&format!("task{at}_per"), if task.each { "piece" } else { "order" });
        }
        if let Some(abroad) = &self.abroad {
            form.put("currency", &abroad.currency);
            form.put("rate", &plain(abroad.rate));
            form.put("rate_on", &abroad.on.to_string());
        }
        for (n, tax) in &self.line_taxes {
            form.put("taxed", &n.to_string());
            form.put(&tax_field(*n), &tax.to_string());
        }
        for n in &self.own_lines {
            form.put("own_line", &n.to_string());
        }
        for (at, option) in self.options.iter().enumerate() {
            form.put(&format!("option{at}_name"), &option.name);
            let alloy = option.alloy.map(|id| id.to_string()).unwrap_or_default();
            form.put(&format!("option{at}_alloy"), &alloy);
            let finish = if option.as_cast { "as_cast" } else { "" };
            form.put(&format!("option{at}_finish"), finish);
        }
        form
    }
}

/// A rate beyond this has a slipped decimal point.
const MOST_RATE: i64 = 1_000_000;

/// Another currency with its rate; the studio's own needs none.
fn abroad(form: &mut Form, today: Day, own: &str) -> Option<Abroad> {
    let currency = form.value("currency").trim().to_uppercase();
    if currency.is_empty() || currency == own {
        return None;
    }
    if let Err(why) = Currency::by_code(&currency) {
        form.wrong("currency", format!("{}.", sentence(&why.to_string())));
        return None;
    }
    if form.value("rate").trim().is_empty() {
        form.wrong(
            "rate",
            format!("How much {currency} one {own} buys is needed: the price book has no rate of it, and nothing is guessed."),
        );
        return None;
    }
    let rate = form.decimal("rate", Decimal::new(1, 10), Decimal::from(MOST_RATE), 10);
    let on = form.day("rate_on");
    if on.is_some_and(|on| on > today) {
        form.wrong("rate_on", "This day has not come yet; a rate is of today or before.");
    }
    Some(Abroad { currency, rate: rate?, on: on? })
}

/// With a capital.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().into_iter().flat_map(char::to_uppercase).chain(letters).collect()
}

/// The field of the tax of a line.
pub(super) fn tax_field(n: i32) -> String {
    format!("tax_of_{n}")
}

/// Lines with a tax of their own; the form names the lines it asks about.
fn line_taxes(form: &mut Form) -> Vec<(i32, TaxId)> {
    let lines: Vec<i32> = form.all("taxed").filter_map(|n| n.parse().ok()).collect();
    lines
        .into_iter()
        .filter_map(|n| chosen(form, &tax_field(n)).map(|tax: TaxId| (n, tax)))
        .collect()
}

/// Work by task; a task without minutes is told.
fn tasks(form: &mut Form) -> Vec<TaskSpec> {
    let mut tasks = Vec::new();
    for at in 0..MOST_TASKS {
        let Ok(task) = form.value(&format!("task{at}")).parse() else { continue };
        let minutes = count(form, &format!("task{at}_minutes"), 1, 100_000);
        let each = form.value(&format!("task{at}_per")) != "order";
        if let Some(minutes) = minutes {
            tasks.push(TaskSpec { task, minutes, each });
        }
    }
    tasks
}

/// Other ways to make it: those that change something. One without a name gets none by itself,
/// for the client has to tell them apart.
fn options(form: &mut Form) -> Vec<OptionSpec> {
    let mut options = Vec::new();
    for at in 0..MOST_OPTIONS {
        let name_field = format!("option{at}_name");
        let name = form.line(&name_field, 60);
        let alloy: Option<AlloyId> = form.value(&format!("option{at}_alloy")).parse().ok();
        let as_cast = form.value(&format!("option{at}_finish")) == "as_cast";
        let differs = alloy.is_some() || as_cast;
        if name.is_empty() && !differs {
            continue;
        }
        if name.is_empty() {
            form.wrong(&name_field, "Give it a name, such as “in silver” or “as cast”.");
        } else if !differs {
            form.wrong(&name_field, "Say what is different: another alloy, or not finished.");
        }
        options.push(OptionSpec { name, alloy, as_cast });
    }
    options
}

/// A thing chosen from a list that may be left out.
fn chosen<T: std::str::FromStr>(form: &mut Form, name: &str) -> Option<T> {
    if form.value(name).is_empty() { None } else { form.choice(name) }
}

fn count(form: &mut Form, name: &str, least: i64, most: i64) -> Option<u32> {
    form.whole(name, least, most).and_then(|n| u32::try_from(n).ok())
}
