//! The catalogues and their columns.

use rust_decimal::Decimal;

use crate::web::Form;

/// A table of things that are set once.
#[derive(Debug, Clone, Copy)]
pub struct Catalogue {
    /// The table.
    pub table: &'static str,
    /// The end of its address.
    pub slug: &'static str,
    /// What they are, for headings.
    pub title: &'static str,
    /// One of them, with its article.
    pub one: &'static str,
    /// What an empty page says.
    pub empty: &'static str,
    /// Its columns; the first is the name.
    pub columns: &'static [Column],
}

/// A column and how it is typed.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    /// The column's name, and the field's.
    pub name: &'static str,
    /// What stands before the field.
    pub label: &'static str,
    /// What kind of value.
    pub field: Field,
    /// The unit after it.
    pub unit: &'static str,
    /// A line that helps.
    pub hint: &'static str,
    /// What a new one starts from.
    pub start: &'static str,
    /// Shown in the list.
    pub listed: bool,
}

/// What kind of value a column takes.
#[derive(Debug, Clone, Copy)]
pub enum Field {
    /// Words; may be empty when not needed.
    Text {
        /// Must not be empty.
        needed: bool,
    },
    /// A measured number within limits.
    Real(f64, f64),
    /// A measured number that may be left out.
    MaybeReal(f64, f64),
    /// A whole number within limits.
    Whole(i64, i64),
    /// An amount of money.
    Money,
    /// One of these words.
    Choice(&'static [(&'static str, &'static str)]),
}

/// A value read from a form.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value {
    Text(String),
    Real(Option<f64>),
    Whole(i32),
    Money(Decimal),
}

const fn column(
    name: &'static str,
    label: &'static str,
    field: Field,
    unit: &'static str,
    start: &'static str,
) -> Column {
    Column { name, label, field, unit, hint: "", start, listed: false }
}

impl Column {
    const fn hint(mut self, hint: &'static str) -> Self {
        self.hint = hint;
        self
    }

    const fn listed(mut self) -> Self {
        self.listed = true;
        self
    }

    /// Reads the column's field; `None` after noting what is wrong.
    pub(super) fn read(&self, form: &mut Form) -> Option<Value> {
        match self.field {
            Field::Text { needed: true } => Some(Value::Text(form.needed(self.name, 120))),
            Field::Text { needed: false } => Some(Value::Text(form.text(self.name, 400))),
            Field::Real(least, most) => {
                form.number(self.name, least, most).map(|real| Value::Real(Some(real)))
            }
            Field::MaybeReal(least, most) => {
                Some(Value::Real(form.number_or_none(self.name, least, most)))
            }
            Field::Whole(least, most) => form
                .whole(self.name, least, most)
                .and_then(|n| i32::try_from(n).ok())
                .map(Value::Whole),
            Field::Money => form
                .decimal(self.name, Decimal::ZERO, Decimal::from(1_000_000), 4)
                .map(Value::Money),
            Field::Choice(options) => {
                let typed = form.value(self.name).to_owned();
                if options.iter().any(|(value, _)| *value == typed) {
                    Some(Value::Text(typed))
                } else {
                    form.wrong(self.name, "Choose one of these.");
                    None
                }
            }
        }
    }
}

impl Catalogue {
    /// The address of its list.
    #[must_use]
    pub fn path(&self) -> String {
        format!("/studio/{}", self.slug)
    }
}

const NAME: Column = column("name", "Name", Field::Text { needed: true }, "", "");
const SOURCE: Column =
    column("source", "Where these values come from", Field::Text { needed: false }, "", "")
        .hint("The maker's sheet, a book, your own measurements.");

static CATALOGUES: [Catalogue; 5] = [
    Catalogue {
        table: "kilns",
        slug: "kilns",
        title: "Kilns",
        one: "a kiln",
        empty: "No kiln yet. The plan needs its floor, its power and its habits.",
        columns: &[
            NAME,
            column("width_mm", "Floor, width", Field::Whole(50, 3000), "mm", "").listed(),
            column("depth_mm", "Floor, depth", Field::Whole(50, 3000), "mm", "").listed(),
            column("height_mm", "Height inside", Field::Whole(50, 3000), "mm", "").listed(),
            column("top_c", "Top temperature", Field::Real(200.0, 1400.0), "°C", "1000"),
            column("power_kw", "Power", Field::Real(0.1, 100.0), "kW", "3").listed(),
            column("cool_min_per_100c", "Cools by 100 K in", Field::Whole(0, 1000), "min", "50")
                .hint("Between pours of a hotter and a colder flask."),
            column(
                "turnaround_min",
                "Until it can be loaded again",
                Field::Whole(0, 10_000),
                "min",
                "75",
            ),
            column("hour_rate", "Charged by the hour", Field::Money, "", "0"),
        ],
    },
    Catalogue {
        table: "flask_types",
        slug: "flask-types",
        title: "Flasks",
        one: "a kind of flask",
        empty: "No flask yet. Tell the cylinders you own.",
        columns: &[
            NAME,
            column("diameter_mm", "Outside diameter", Field::Whole(20, 1000), "mm", "").listed(),
            column("height_mm", "Height", Field::Whole(20, 1000), "mm", "").listed(),
            column("wall_mm", "Wall", Field::Real(0.2, 20.0), "mm", "1.6"),
            column(
                "wall_kind",
                "Wall is",
                Field::Choice(&[("solid", "solid"), ("perforated", "perforated")]),
                "",
                "solid",
            ),
            column("channels", "Vacuum channels along the wall", Field::Whole(0, 24), "", "0")
                .hint("Trees keep clear of them."),
            column("channel_mm", "Across a channel", Field::Real(0.5, 50.0), "mm", "6"),
            column(
                "size_class",
                "Size class of its programme",
                Field::Choice(&[("S", "S"), ("M", "M"), ("L", "L")]),
                "",
                "M",
            )
            .listed(),
            column("owned", "How many you own", Field::Whole(0, 1000), "", "4").listed(),
        ],
    },
    Catalogue {
        table: "investments",
        slug: "investments",
        title: "Investments",
        one: "an investment",
        empty: "No investment powder yet.",
        columns: &[
            NAME,
            column(
                "kind",
                "Bonded by",
                Field::Choice(&[("gypsum", "gypsum"), ("phosphate", "phosphate")]),
                "",
                "gypsum",
            )
            .listed(),
            column(
                "water_per_100",
                "Water to 100 of powder",
                Field::Real(10.0, 60.0),
                "parts",
                "40",
            )
            .listed(),
            column(
                "working_minutes",
                "From powder in water to gloss-off",
                Field::Real(1.0, 60.0),
                "min",
                "9.5",
            )
            .listed(),
            column(
                "bench_set_min",
                "Bench set before the kiln, at least",
                Field::Whole(0, 10_000),
                "min",
                "120",
            ),
            column(
                "latest_start_min",
                "Into the kiln at the latest after",
                Field::Whole(1, 100_000),
                "min",
                "1440",
            ),
            SOURCE,
        ],
    },
    Catalogue {
        table: "alloys",
        slug: "alloys",
        title: "Alloys",
        one: "an alloy",
        empty: "No alloy yet. Start from one of the usual ones or enter your supplier's.",
        columns: &[
            NAME,
            column(
                "family",
                "Family",
                Field::Choice(&[
                    ("silver", "silver"),
                    ("gold", "gold"),
                    ("copper", "copper, bronze, brass"),
                    ("platinum", "platinum"),
                    ("palladium", "palladium"),
                    ("other", "other"),
                ]),
                "",
                "silver",
            )
            .listed(),
            column("density_g_cm3", "Density", Field::Real(0.6, 24.9), "g/cm³", "").listed(),
            column("solidus_c", "Solidus", Field::MaybeReal(50.0, 2500.0), "°C", ""),
            column("liquidus_c", "Liquidus", Field::MaybeReal(50.0, 2500.0), "°C", ""),
            column("melt_c", "Poured at", Field::Real(100.0, 2400.0), "°C", "").listed(),
            column("flask_c", "Flask at the pour", Field::Real(0.0, 1400.0), "°C", "").listed(),
            column(
                "shrinkage",
                "Casting contraction, as a share",
                Field::Real(0.0, 0.099),
                "",
                "0.015",
            ),
            column("least_fresh", "Fresh metal, at least", Field::MaybeReal(0.0, 1.0), "", "")
                .hint("As a share of the charge, 0.5 is half; empty follows the studio's rule."),
            SOURCE,
        ],
    },
    Catalogue {
        table: "burnout_families",
        slug: "families",
        title: "Programme families",
        one: "a programme family",
        empty: "No programme family yet. A family is what can be burnt out by the same kind of firing.",
        columns: &[
            NAME,
            column(
                "pattern",
                "Patterns of",
                Field::Choice(&[("resin", "resin"), ("wax", "wax")]),
                "",
                "resin",
            )
            .listed(),
            column(
                "investment_kind",
                "Investment bonded by",
                Field::Choice(&[("gypsum", "gypsum"), ("phosphate", "phosphate")]),
                "",
                "gypsum",
            )
            .listed(),
        ],
    },
];

/// All catalogues.
#[must_use]
pub fn all() -> &'static [Catalogue] {
    &CATALOGUES
}
