//! A load's firing as it is predicted and as it was measured, on one heat line.

use std::sync::Arc;

use foundry::heat::curve::{Column, Comparison, Event, KilnFit, fit_kiln};
use foundry::heat::{
    Binder, Burnout, FlaskBody, Grid, Kiln, Limits, Passage, PatternFamily, PoweredKiln, Programme,
    judge, simulate,
};
use foundry::quantity::Celsius;
use foundry::working::Worked;

use super::known_logs::known;
use super::view::{LoadRow, LoadState, Standing};
use crate::clock::Moment;
use crate::files;
use crate::kiln_logs::{self, LogRow, Reading, better_scale, columns_of, first_lines, text_of};
use crate::kilns::{
    Chart, Curve, FilledFlask, Inside, KilnFacts, Slow, as_run, binder, heat_lines, inside,
};
use crate::studio::{Settings, Week};
use crate::web::{App, Fault, Show};

/// A log is drawn so far beyond the end of the programme, min.
const BEYOND_MIN: f64 = 240.0;
/// A clock may be so many minutes out.
const CLOCK_MIN: i64 = 10;

/// What can be seen of a load's firing.
pub(super) struct Sight {
    pub(super) facts: KilnFacts,
    programme: Option<Programme>,
    /// The flask that is computed, the largest, and how many there are.
    body: Option<FlaskBody>,
    flasks: u32,
    pub(super) predicted: Option<Burnout>,
    /// The kiln as its own firings have shown it takes longer for the programme.
    pub(super) slow: Option<Slow>,
    /// So many minutes longer, if a kiln to which nothing was fitted is as it was entered.
    pub(super) perhaps_min: Option<i64>,
    passages: Vec<Passage>,
    /// Why nothing could be predicted.
    pub(super) why_not: Option<String>,
    pub(super) log: Option<Log>,
}

/// The log of a load.
pub(super) struct Log {
    pub(super) row: LogRow,
    content: Arc<Content>,
}

/// What is in a log, read or not.
pub(super) struct Content {
    /// Its first lines.
    pub(super) sample: String,
    /// Its columns with what they are taken for.
    pub(super) columns: Vec<Column>,
    pub(super) read: Result<Held, String>,
}

impl std::ops::Deref for Log {
    type Target = Content;

    fn deref(&self) -> &Content {
        &self.content
    }
}

/// A log held against its programme.
pub(super) struct Held {
    pub(super) reading: Reading,
    pub(super) comparison: Result<Comparison, String>,
    /// A warning that it may be in the other scale: whether °F, and the typical differences.
    pub(super) other_scale: Option<(bool, f64, f64)>,
}

/// A kiln fitted to the load's log.
pub(super) struct Fitted {
    pub(super) fit: Worked<KilnFit>,
    pub(super) now: PoweredKiln,
    /// The kiln as predicted with the fit.
    after: Vec<(f64, f64)>,
}

/// What the computation starts from.
struct Start {
    segments: Vec<crate::kilns::SegmentRow>,
    /// What stands in the kiln.
    inside: Option<Inside>,
    pattern: PatternFamily,
    binder: Binder,
    casting: Celsius,
}

impl Sight {
    pub(super) async fn of(app: &App, load: &LoadRow, flasks: &[Standing]) -> Result<Self, Fault> {
        let facts = KilnFacts::read(&app.pool, load.kiln_id).await?;
        let (pattern, kind): (String, String) =
            sqlx::query_as("SELECT pattern, investment_kind FROM burnout_families WHERE id = $1")
                .bind(load.family_id)
                .fetch_one(&app.pool)
                .await?;
        let binder = binder(&kind).unwrap_or_default();
        let filled: Vec<FilledFlask> = flasks.iter().map(|flask| flask.filled).collect();
        let start = Start {
            segments: load.programme.0.clone(),
            inside: inside(&filled, &kind, Some(&facts)),
            pattern: if pattern == "wax" {
                PatternFamily::Wax
            } else {
                PatternFamily::CastableResin
            },
            binder,
            casting: Celsius::of(load.programme.0.last().map_or(20.0, |last| last.target_c)),
        };
        let log = kiln_logs::current(&app.pool, load.id).await?;
        let bytes = match &log {
            Some(row) => files::read(&app.pool, row.file_id).await?,
            None => Vec::new(),
        };
        tokio::task::spawn_blocking(move || Self::compute(facts, &start, log, &bytes))
            .await
            .map_err(|error| Fault::Unforeseen(error.into()))
    }

    fn compute(facts: KilnFacts, start: &Start, log: Option<LogRow>, bytes: &[u8]) -> Self {
        let mut sight = Self {
            facts,
            programme: None,
            body: None,
            flasks: start.inside.as_ref().map_or(1, |inside| inside.flasks),
            predicted: None,
            slow: None,
            perhaps_min: None,
            passages: Vec::new(),
            why_not: None,
            log: None,
        };
        match as_run(&start.segments) {
            Ok(programme) => sight.programme = Some(programme),
            Err(why) => sight.why_not = Some(why.to_string()),
        }
        match start.inside.as_ref().map(|inside| inside.mould.body()) {
            Some(Ok((body, _))) => sight.body = Some(body),
            Some(Err(why)) => sight.why_not = Some(why.to_string()),
            None => {}
        }
        if let (Some(programme), Some(body)) = (&sight.programme, &sight.body) {
            let line = heat_lines(&[(start.segments.clone(), start.inside.clone())]).pop();
            if let Some(line) = &line {
                sight.slow = Slow::of(Some(&sight.facts), line);
                sight.perhaps_min = line.longer_min().filter(|_| !sight.facts.is_fitted());
            }
            match line.and_then(|line| line.burnout.clone()) {
                Some(burnout) => {
                    let limits = Limits::usual(start.binder, start.pattern);
                    sight.passages = judge(&burnout, start.casting, &limits).passages;
                    sight.predicted = Some(burnout);
                }
                None => {
                    let kiln = Kiln::Powered { kiln: sight.facts.powered(), flasks: sight.flasks };
                    let why = simulate(body, programme, &kiln, &Grid::default()).err();
                    sight.why_not = why.map(|why| why.to_string());
                }
            }
        }
        sight.log = log.map(|row| {
            let key = format!("{} {:?} {:?}", row.file_id, row.form.0, start.segments);
            let content = known(key, || sight.hold(&row, bytes));
            Log { row, content }
        });
        sight
    }

    fn hold(&self, row: &LogRow, bytes: &[u8]) -> Content {
        let form = &row.form.0;
        let columns = columns_of(bytes, form);
        let sample = text_of(bytes).map(|text| first_lines(&text, 8)).unwrap_or_default();
        let read = kiln_logs::read(bytes, form).map_err(|why| why.to_string()).map(|reading| {
            let programme = self.programme.as_ref();
            let comparison = match programme {
                Some(programme) => kiln_logs::against(&reading.curve, programme, form)
                    .map_err(|why| why.to_string()),
                None => Err("the programme of this load cannot be run".to_owned()),
            };
            let other_scale = programme
                .and_then(|programme| {
                    better_scale(bytes, form, &reading, comparison.as_ref().ok(), programme)
                })
                .map(|(other, is, would)| {
                    (other == foundry::heat::curve::Scale::Fahrenheit, is, would)
                });
            Held { reading, comparison, other_scale }
        });
        Content { sample, columns, read }
    }

    /// How long the programme takes in this kiln as it is known, in minutes; none where it keeps
    /// to its programme, or nothing could be predicted.
    pub(super) fn takes_min(&self) -> Option<i64> {
        self.slow.as_ref().map(Slow::takes_min)
    }

    /// Whether the log follows the programme as no kiln does.
    pub(super) fn is_set_point(&self) -> bool {
        self.held().is_some_and(|(_, comparison)| comparison.looks_like_set_point())
    }

    /// The moment of the log's last reading, if that is still to come.
    pub(super) fn beyond(&self, load: &LoadRow, now: Moment) -> Option<Moment> {
        let (held, comparison) = self.held()?;
        let last = held.reading.curve.duration() - comparison.starts_at;
        let last = load.starts().plus_seconds((last.get() * 60.0) as i64);
        (last > now.plus_minutes(CLOCK_MIN)).then_some(last)
    }

    /// The log as it was held against the programme.
    pub(super) fn held(&self) -> Option<(&Held, &Comparison)> {
        let held = self.log.as_ref()?.read.as_ref().ok()?;
        Some((held, held.comparison.as_ref().ok()?))
    }

    /// What differed, in the order of time.
    pub(super) fn events(&self) -> &[Event] {
        self.held().map_or(&[], |(_, comparison)| comparison.events.as_slice())
    }

    /// The measured curve in minutes of the programme.
    fn measured(&self) -> Vec<(f64, f64)> {
        let Some((held, comparison)) = self.held() else { return Vec::new() };
        let most = self.programme.as_ref().map_or(0.0, |p| p.total().get()) + BEYOND_MIN;
        let starts = comparison.starts_at.get();
        held.reading
            .curve
            .points()
            .iter()
            .map(|point| (point.minute.get() - starts, point.kiln.get()))
            .filter(|(minute, _)| (0.0..=most).contains(minute))
            .collect()
    }

    /// Fits power and loss of the kiln to the log.
    pub(super) fn fit(&self) -> Result<Fitted, String> {
        let ((held, comparison), programme, body) = match (self.held(), &self.programme, &self.body)
        {
            (Some(held), Some(programme), Some(body)) => (held, programme, body),
            (None, ..) => return Err("There is no log that could be fitted to.".to_owned()),
            _ => return Err("A fit needs the flasks that were in the kiln.".to_owned()),
        };
        if comparison.looks_like_set_point() {
            return Err("The log looks like the set point, which says nothing of the kiln. Choose the column that was measured.".to_owned());
        }
        let now = self.facts.powered();
        let starts = Some(comparison.starts_at);
        let fit = fit_kiln(&held.reading.curve, programme, body, &now, self.flasks, starts)
            .map_err(|why| why.to_string())?;
        let kiln = Kiln::Powered { kiln: fit.value.kiln, flasks: self.flasks };
        let run =
            simulate(body, programme, &kiln, &Grid::default()).map_err(|why| why.to_string())?;
        let after = run.samples.iter().map(|s| (s.minute.get(), s.kiln.get())).collect();
        Ok(Fitted { fit, now, after })
    }

    /// The same beside the requests: it takes a moment.
    pub(super) async fn fitted(self) -> Result<(Self, Result<Fitted, String>), Fault> {
        tokio::task::spawn_blocking(move || {
            let fitted = self.fit();
            (self, fitted)
        })
        .await
        .map_err(|error| Fault::Unforeseen(error.into()))
    }

    /// The heat line of the load.
    pub(super) async fn chart(
        &self,
        app: &App,
        show: &Show,
        load: &LoadRow,
        flasks: &[Standing],
        fitted: Option<&Fitted>,
    ) -> Result<Chart, Fault> {
        let starts = load.starts();
        let week = Week::load(&app.pool, starts.day_in(&show.zone).plus_days(-1)).await?;
        let pour_min = f64::from(Settings::load(&app.pool).await?.pour_min);
        let title = format!(
            "Heat line of load {}: {}, class {}",
            load.number, load.family, load.size_class
        );
        let knots = self.programme.iter().flat_map(|programme| programme.knots());
        let mut chart = Chart::new(title, show).curve(
            Curve::Programme,
            knots.map(|knot| (knot.minute.get(), knot.temperature.get())).collect(),
        );
        if let Some(burnout) = &self.predicted {
            let line = |of: fn(&foundry::heat::Sample) -> Celsius| {
                burnout.samples.iter().map(|s| (s.minute.get(), of(s).get())).collect::<Vec<_>>()
            };
            chart = match fitted {
                Some(fitted) => chart
                    .curve(Curve::Before, line(|sample| sample.kiln))
                    .curve(Curve::Kiln, fitted.after.clone()),
                None => chart
                    .curve(Curve::Kiln, line(|sample| sample.kiln))
                    .curve(Curve::Core, line(|sample| sample.core))
                    .passages(&self.passages),
            };
        }
        chart = chart.curve(Curve::Measured, self.measured());
        let minute = |at: Moment| at.seconds_since(starts) as f64 / 60.0;
        let pours =
            flasks.iter().map(|flask| minute(flask.poured_at.unwrap_or(flask.planned_pour_at)));
        let (first, last) = pours.fold((f64::INFINITY, f64::NEG_INFINITY), |(first, last), at| {
            (first.min(at), last.max(at))
        });
        // A pour long after the firing is told in the list, not drawn.
        if first.is_finite() && first >= 0.0 && last - first < 600.0 && last < 10_080.0 {
            chart = chart.pour_window(first, last + pour_min);
        }
        let marks = self.events().iter().map(|e| (e.minute.get(), e.what.to_string())).collect();
        let now = (load.state == LoadState::Burning).then(|| minute(show.now));
        Ok(chart.starting(starts, &week).marks(marks).now(now))
    }
}
