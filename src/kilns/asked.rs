//! What a page asks to be computed: a programme, kept or tried, for a flask, an investment, a kiln.

use foundry::heat::{HeatRefusal, Kiln, Limits, PatternFamily};
use foundry::quantity::Celsius;
use uuid::Uuid;

use super::choices::{Choices, programme_of_load};
use super::editor;
use super::firing::Question;
use super::programme::as_run;
use super::{Mould, SIZE_CLASSES, SegmentRow, binder, programme_of};
use crate::id::FamilyId;
use crate::tariffs::week_minute;
use crate::web::{App, Fault, Form, Show};

/// The fields that say what a firing is computed for.
pub(super) const FIELDS: [&str; 9] =
    ["flask", "investment", "kiln", "flasks", "cast", "day", "at", "minute", "load"];

/// What a page starts from: choices, programme, and what was asked.
pub(super) struct Start {
    pub(super) choices: Choices,
    /// The programme as it is kept.
    pub(super) kept: Vec<SegmentRow>,
    /// The programme that is computed: the one that was typed, or the one that is kept.
    pub(super) segments: Vec<SegmentRow>,
    /// Whether it was typed and differs.
    pub(super) tried: bool,
    pub(super) load: Option<i32>,
}

impl Start {
    pub(super) async fn read(
        app: &App,
        family: Uuid,
        size: &str,
        form: &mut Form,
        show: &Show,
    ) -> Result<Self, Fault> {
        if !SIZE_CLASSES.contains(&size) {
            return Err(Fault::NotFound);
        }
        let choices = Choices::read(&app.pool, family).await?;
        let load = form.value("load").parse::<i32>().ok();
        let mut begins = show.now;
        let kept = match load {
            Some(number) => {
                let (programme, starts) = programme_of_load(&app.pool, number).await?;
                begins = starts;
                programme
            }
            None => {
                let mut conn = app.pool.acquire().await?;
                programme_of(&mut conn, FamilyId(family), size).await?
            }
        };
        if form.value("unit").is_empty() {
            form.set("unit", if show.units.fahrenheit { "F" } else { "C" });
        }
        let brought = editor::brings(form);
        let segments = if brought {
            editor::read(form)
        } else {
            editor::fill(form, &kept);
            kept.clone()
        };
        let minute = week_minute(begins, &show.zone);
        let clock = if load.is_some() {
            format!("{:02}:{:02}", minute / 60 % 24, minute % 60)
        } else {
            "18:00".to_owned()
        };
        let largest = choices
            .flasks
            .iter()
            .rev()
            .find(|flask| flask.size_class == size)
            .or(choices.flasks.last());
        let defaults = [
            ("flask", largest.map(|flask| flask.id.to_string())),
            ("investment", choices.investments.first().map(|one| one.id.to_string())),
            ("kiln", choices.kilns.first().map(|one| one.id.to_string())),
            ("flasks", Some("1".to_owned())),
            ("cast", segments.last().map(|last| last.target_c.round().to_string())),
            ("day", Some((minute / 1440).to_string())),
            ("at", Some(clock)),
        ];
        for (name, value) in defaults {
            if form.value(name).is_empty() {
                form.set(name, value.as_deref().unwrap_or(""));
            }
        }
        let tried = brought && segments != kept;
        Ok(Self { choices, kept, segments, tried, load })
    }

    /// The question that the form asks; none when something is missing or wrong.
    pub(super) fn question(&self, form: &mut Form) -> Option<Result<Question, HeatRefusal>> {
        let choices = &self.choices;
        let flask = chosen(form, "flask", &choices.flasks, |one| one.id);
        let investment = chosen(form, "investment", &choices.investments, |one| one.id);
        let kiln = chosen(form, "kiln", &choices.kilns, |one| one.id);
        let flasks = form.whole("flasks", 1, 200);
        let casting = form.number("cast", 20.0, 1400.0);
        let minute = if form.value("minute").is_empty() {
            None
        } else {
            form.number("minute", 0.0, 10_080.0)
        };
        let (flask, investment, kiln) = (flask?, investment?, kiln?);
        let (flasks, casting) = (flasks?, casting?);
        if form.error("minute").is_some() || self.segments.is_empty() {
            return None;
        }
        let binder = binder(&choices.family.investment_kind).ok()?;
        let pattern = match choices.family.pattern.as_str() {
            "wax" => PatternFamily::Wax,
            _ => PatternFamily::CastableResin,
        };
        let mould = Mould {
            inside_mm: f64::from(flask.diameter_mm) - 2.0 * flask.wall_mm,
            height_mm: f64::from(flask.height_mm),
            wall_mm: flask.wall_mm,
            binder,
            water_per_100: investment.water_per_100,
        };
        let (powered, cooling_k_h) = (kiln.powered(), kiln.cooling_k_h());
        Some(as_run(&self.segments).and_then(|programme| {
            Ok(Question {
                programme,
                body: mould.body()?.0,
                kiln: Kiln::Powered { kiln: powered, flasks: u32::try_from(flasks).unwrap_or(1) },
                limits: Limits::usual(binder, pattern),
                casting: Celsius::new(casting)?,
                minute,
                cooling_k_h,
            })
        }))
    }

    /// The minute of the week at which it is to begin; none after noting what is wrong.
    pub(super) fn begins(form: &mut Form) -> Option<u32> {
        let day = form.whole("day", 0, 6);
        let typed = form.value("at").to_owned();
        let clock = typed.split_once(':').and_then(|(hours, minutes)| {
            let (hours, minutes) = (hours.parse::<u32>().ok()?, minutes.parse::<u32>().ok()?);
            (hours < 24 && minutes < 60).then_some(hours * 60 + minutes)
        });
        if clock.is_none() {
            form.wrong("at", format!("“{typed}” is not a time of day; write it like 18:00."));
        }
        Some(u32::try_from(day?).ok()? * 1440 + clock?)
    }
}

fn chosen<'a, T>(form: &mut Form, name: &str, list: &'a [T], id: fn(&T) -> Uuid) -> Option<&'a T> {
    let wanted = form.value(name).to_owned();
    let found = list.iter().find(|one| id(one).to_string() == wanted);
    if found.is_none() {
        form.wrong(name, "Choose one of the list.");
    }
    found
}
