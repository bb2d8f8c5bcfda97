//! The heat line drawn in full: programme, kiln, flask and measurement over time, named
//! temperatures, working hours as daylight behind, the pour at the end. Every page that shows
//! one firing shows it by this.

use askama::Template;
use foundry::heat::Passage;
use jiff::tz::TimeZone;

use super::heat_line::Axis;
use crate::clock::Moment;
use crate::studio::Week;
use crate::web::{Html, Show};

/// Width of the drawing, without margins.
const WIDTH: f64 = 860.0;
/// Where 0 °C lies.
const FLOOR: f64 = 270.0;
/// From the floor to the hottest degree drawn.
const HEIGHT: f64 = 250.0;
/// The drawing reaches at least up to here, °C.
const LEAST_TOP_C: f64 = 880.0;
/// Names beside the drawing keep this distance from each other.
const NAME_APART: f64 = 13.0;
/// The reading moves in at most so many steps.
const MOST_STOPS: f64 = 120.0;
/// A curve is drawn with at most about so many points; more are only bytes.
const MOST_POINTS: usize = 400;

/// What a curve shows; each kind has its stroke, in colour and in black.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Curve {
    /// What the controller is told.
    Programme,
    /// The kiln, computed.
    Kiln,
    /// The flask's wall, computed.
    Wall,
    /// The flask's core, computed.
    Core,
    /// The kiln, measured.
    Measured,
    /// What it was before a change.
    Before,
    /// The shortest safe programme.
    Shortest,
}

impl Curve {
    /// Its class, for its stroke.
    #[must_use]
    pub const fn class(self) -> &'static str {
        match self {
            Self::Programme => "asked",
            Self::Kiln => "kiln",
            Self::Wall => "wall",
            Self::Core => "core",
            Self::Measured => "measured",
            Self::Before => "before",
            Self::Shortest => "shortest",
        }
    }

    /// Its name.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Programme => "programme",
            Self::Kiln => "kiln, computed",
            Self::Wall => "flask wall, computed",
            Self::Core => "core of the flask, computed",
            Self::Measured => "kiln, measured",
            Self::Before => "as it was before",
            Self::Shortest => "shortest safe programme",
        }
    }

    const fn short(self) -> &'static str {
        match self {
            Self::Programme => "programme",
            Self::Kiln => "kiln",
            Self::Wall => "wall",
            Self::Core => "core",
            Self::Measured => "measured",
            Self::Before => "before",
            Self::Shortest => "shortest",
        }
    }
}

#[derive(Clone, Debug)]
struct Drawn {
    curve: Curve,
    points: Vec<(f64, f64)>,
}

impl Drawn {
    /// The curve at a minute, straight between points.
    fn at(&self, minute: f64) -> Option<f64> {
        let next = self.points.partition_point(|point| point.0 < minute);
        let after = self.points.get(next)?;
        let Some(before) = next.checked_sub(1).map(|n| self.points[n]) else {
            return (after.0 - minute < 0.5).then_some(after.1);
        };
        let part = (minute - before.0) / (after.0 - before.0).max(f64::MIN_POSITIVE);
        Some(before.1 + (after.1 - before.1) * part)
    }
}

#[derive(Clone, Debug)]
struct Named {
    name: String,
    celsius: f64,
    core: Option<f64>,
}

/// One firing's drawing, with its readings and its table.
#[derive(Clone, Debug)]
pub struct Chart {
    title: String,
    show: Show,
    curves: Vec<Drawn>,
    named: Vec<Named>,
    daylight: Option<Vec<(f64, f64)>>,
    starts: Option<Moment>,
    window: Option<(f64, f64)>,
    marks: Vec<(f64, String)>,
    now: Option<f64>,
    chosen: Option<f64>,
    links: Option<(String, String)>,
    handles: Option<(String, Vec<(f64, f64)>)>,
    least_span: f64,
}

impl Chart {
    /// An empty drawing with its name.
    #[must_use]
    pub fn new(title: impl Into<String>, show: &Show) -> Self {
        Self {
            title: title.into(),
            show: show.clone(),
            curves: Vec::new(),
            named: Vec::new(),
            daylight: None,
            starts: None,
            window: None,
            marks: Vec::new(),
            now: None,
            chosen: None,
            links: None,
            handles: None,
            least_span: 0.0,
        }
    }

    /// Adds a curve: minutes from the start and degrees Celsius. One without points is left out.
    #[must_use]
    pub fn curve(mut self, curve: Curve, points: Vec<(f64, f64)>) -> Self {
        if points.len() > 1 {
            self.curves.push(Drawn { curve, points });
        }
        self
    }

    /// Names the temperatures that matter, with where the core passes them.
    #[must_use]
    pub fn passages(mut self, passages: &[Passage]) -> Self {
        self.named.extend(passages.iter().map(|passage| Named {
            name: passage.name.to_owned(),
            celsius: passage.temperature.get(),
            core: passage.core.map(|minute| minute.get()),
        }));
        self
    }

    /// Sets it into the calendar: when the programme begins, and when somebody is there.
    #[must_use]
    pub fn starting(mut self, at: Moment, week: &Week) -> Self {
        self.starts = Some(at);
        self.daylight = Some(daylight(week, &self.show.zone, at, self.span()));
        self
    }

    /// From when to when it can be poured, in minutes from the start.
    #[must_use]
    pub fn pour_window(mut self, from: f64, to: f64) -> Self {
        self.window = Some((from, to));
        self
    }

    /// Marks what happened, numbered in the order given.
    #[must_use]
    pub fn marks(mut self, marks: Vec<(f64, String)>) -> Self {
        self.marks = marks;
        self
    }

    /// Where the firing stands now.
    #[must_use]
    pub fn now(mut self, minute: Option<f64>) -> Self {
        self.now = minute;
        self
    }

    /// The moment that is looked at, and where others lead: an address before and after the
    /// minute.
    #[must_use]
    pub fn choosing(mut self, minute: f64, before: &str, after: &str) -> Self {
        self.chosen = Some(minute);
        self.links = Some((before.to_owned(), after.to_owned()));
        self
    }

    /// Lets a script move the corners of the programme and ask this address for what follows.
    #[must_use]
    pub fn handles(mut self, address: &str, corners: Vec<(f64, f64)>) -> Self {
        self.handles = Some((address.to_owned(), corners));
        self
    }

    /// Draws at least so many minutes, so that the drawing stands still while a corner is moved.
    #[must_use]
    pub fn least_span(mut self, minutes: f64) -> Self {
        self.least_span = if minutes.is_finite() { minutes.clamp(0.0, 20_160.0) } else { 0.0 };
        self
    }

    /// The finished markup: the drawing, what a pointer or the arrow keys read from it, and the
    /// same as a table.
    #[must_use]
    pub fn html(&self) -> Html {
        let total = self.total();
        let span = self.span();
        let hottest = self
            .curves
            .iter()
            .flat_map(|drawn| &drawn.points)
            .fold(LEAST_TOP_C, |most, point| most.max(point.1));
        let axis = Axis { per_minute: WIDTH / span, per_degree: HEIGHT / hottest, floor: FLOOR };
        Html::of(&ChartPart::new(self, axis, total, span, hottest))
    }

    /// What the drawing reaches over: curves and pour.
    fn span(&self) -> f64 {
        let total = self.total();
        self.window.map_or(total, |(_, to)| to.max(total)).max(self.least_span)
    }

    /// From the start to the end of the longest curve.
    fn total(&self) -> f64 {
        self.curves
            .iter()
            .filter_map(|drawn| drawn.points.last())
            .fold(1.0, |most, point| most.max(point.0))
    }
}

/// When somebody is there, in minutes from a moment; true across changes of the clocks.
#[must_use]
pub fn daylight(week: &Week, zone: &TimeZone, from: Moment, minutes: f64) -> Vec<(f64, f64)> {
    let first = from.day_in(zone).plus_days(-1);
    let days = (minutes / 1440.0) as i32 + 3;
    let mut light = Vec::new();
    for n in 0..days {
        let day = first.plus_days(n);
        for (opens, closes) in week.on(day) {
            let minute = |of_day: i32| {
                let civil = day.0.at(0, 0, 0, 0).saturating_add(
                    jiff::Span::new().try_minutes(i64::from(of_day)).unwrap_or_default(),
                );
                let at = zone.to_ambiguous_timestamp(civil).compatible();
                at.map_or(0.0, |at| Moment(at).seconds_since(from) as f64 / 60.0)
            };
            let (a, b) = (minute(*opens).max(0.0), minute(*closes).min(minutes));
            if a < b {
                light.push((a, b));
            }
        }
    }
    light
}

struct Tick {
    x: f64,
    hours: String,
    clock: String,
}

struct NameAt {
    y: f64,
    text_y: f64,
    words: String,
    passes: Option<f64>,
}

struct Stop {
    x: f64,
    width: f64,
    at: f64,
    words: String,
    /// Heights of the curves there, in their order; empty where there is none.
    heights: String,
    link: Option<String>,
}

struct Row {
    after: String,
    clock: String,
    values: Vec<String>,
    link: Option<String>,
}

#[derive(Template)]
#[template(path = "kilns/chart.html")]
struct ChartPart<'a> {
    chart: &'a Chart,
    floor: f64,
    width: f64,
    per_minute: f64,
    per_degree: f64,
    night: f64,
    ticks: Vec<Tick>,
    degrees: Vec<(f64, String)>,
    names: Vec<NameAt>,
    daylight: Vec<(f64, f64)>,
    paths: Vec<(Curve, String)>,
    window: Option<(f64, f64)>,
    marks: Vec<(f64, usize, String)>,
    now: Option<f64>,
    chosen: Option<f64>,
    stops: Vec<Stop>,
    rows: Vec<Row>,
    calendar: bool,
    /// Where a script may take hold: x and y of the end of each line.
    knots: Vec<(f64, f64)>,
    ask: Option<&'a str>,
    span: f64,
}

impl<'a> ChartPart<'a> {
    fn new(chart: &'a Chart, axis: Axis, total: f64, span: f64, hottest: f64) -> Self {
        let x = |minute: f64| minute * axis.per_minute;
        let step = step_minutes(total);
        let stops = (0..=(total / step).ceil() as u32)
            .map(|n| (f64::from(n) * step).min(total))
            .map(|minute| chart.stop(minute, step, &axis))
            .collect();
        let table_step = [15.0, 30.0, 60.0, 120.0]
            .into_iter()
            .find(|step| total / step <= 36.0)
            .unwrap_or(240.0);
        let mut minutes: Vec<f64> =
            (0..=(total / table_step) as u32).map(|n| f64::from(n) * table_step).collect();
        if minutes.last().is_none_or(|last| total - last > 0.5) {
            minutes.push(total);
        }
        Self {
            chart,
            floor: FLOOR,
            width: WIDTH,
            per_minute: axis.per_minute,
            per_degree: axis.per_degree,
            night: x(span),
            ticks: chart.ticks(&axis, span),
            degrees: chart.degrees(&axis, hottest),
            names: chart.names(&axis),
            daylight: chart
                .daylight
                .iter()
                .flatten()
                .map(|(from, to)| (x(*from), x(*to) - x(*from)))
                .collect(),
            paths: chart
                .curves
                .iter()
                .map(|drawn| (drawn.curve, axis.path(0.0, &thinned(&drawn.points))))
                .collect(),
            window: chart.window.map(|(from, to)| (x(from), (x(to) - x(from)).max(3.0))),
            marks: chart
                .marks
                .iter()
                .enumerate()
                .map(|(n, (minute, words))| (x(*minute), n + 1, words.clone()))
                .collect(),
            now: chart.now.filter(|now| (0.0..=span).contains(now)).map(x),
            chosen: chart.chosen.map(x),
            stops,
            rows: minutes.into_iter().map(|minute| chart.row(minute)).collect(),
            calendar: chart.starts.is_some(),
            knots: chart
                .handles
                .iter()
                .flat_map(|(_, corners)| corners.iter().skip(1))
                .map(|(minute, celsius)| (x(*minute), axis.floor - celsius * axis.per_degree))
                .collect(),
            ask: chart.handles.as_ref().map(|(address, _)| address.as_str()),
            span,
        }
    }
}

/// Steps of the reading: whole five minutes, and not too many of them.
fn step_minutes(total: f64) -> f64 {
    ((total / MOST_STOPS / 5.0).ceil() * 5.0).max(5.0)
}

fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let every = points.len().div_ceil(MOST_POINTS).max(1);
    let last = points.len().saturating_sub(1);
    points
        .iter()
        .enumerate()
        .filter(|(n, _)| n % every == 0 || *n == last)
        .map(|(_, point)| *point)
        .collect()
}

impl Chart {
    fn moment(&self, minute: f64) -> Option<Moment> {
        self.starts.map(|starts| starts.plus_seconds((minute * 60.0) as i64))
    }

    fn clock(&self, minute: f64) -> String {
        self.moment(minute).map(|at| self.show.time(at)).unwrap_or_default()
    }

    fn link(&self, minute: f64) -> Option<String> {
        self.links.as_ref().map(|(before, after)| format!("{before}{minute:.0}{after}"))
    }

    fn stop(&self, minute: f64, step: f64, axis: &Axis) -> Stop {
        let mut words = format!("After {}", self.show.span(minute));
        if let Some(at) = self.moment(minute) {
            words.push_str(&format!(" ({})", self.show.moment(at)));
        }
        let mut heights = Vec::new();
        for (n, drawn) in self.curves.iter().enumerate() {
            let value = drawn.at(minute);
            heights.push(
                value.map_or(String::new(), |c| format!("{:.1}", axis.floor - c * axis.per_degree)),
            );
            if let Some(celsius) = value {
                let sign = if n == 0 { ":" } else { "," };
                let degrees = self.show.degrees(celsius);
                words.push_str(&format!("{sign} {} {degrees}", drawn.curve.short()));
            }
        }
        let left = (minute - step / 2.0).max(0.0) * axis.per_minute;
        Stop {
            x: left,
            width: step * axis.per_minute,
            at: minute * axis.per_minute,
            words,
            heights: heights.join(" "),
            link: self.link(minute),
        }
    }

    fn row(&self, minute: f64) -> Row {
        Row {
            after: self.show.span(minute),
            clock: self.clock(minute),
            values: self
                .curves
                .iter()
                .map(|drawn| drawn.at(minute).map_or("".to_owned(), |c| self.show.degrees(c)))
                .collect(),
            link: self.link(minute),
        }
    }

    fn ticks(&self, axis: &Axis, span: f64) -> Vec<Tick> {
        let hours = [1, 2, 3, 4, 6, 12, 24]
            .into_iter()
            .find(|hours| span / 60.0 / f64::from(*hours) <= 14.0)
            .unwrap_or(24);
        (0..=(span / 60.0 / f64::from(hours)) as i32)
            .map(|n| {
                let minute = f64::from(n * hours) * 60.0;
                Tick {
                    x: minute * axis.per_minute,
                    hours: format!("{} h", n * hours),
                    clock: self.clock(minute),
                }
            })
            .collect()
    }

    fn degrees(&self, axis: &Axis, hottest: f64) -> Vec<(f64, String)> {
        let round: Vec<f64> = if self.show.units.fahrenheit {
            (1..=6).map(|n| (f64::from(n) * 400.0 - 32.0) / 1.8).collect()
        } else {
            (1..=6).map(|n| f64::from(n) * 200.0).collect()
        };
        round
            .into_iter()
            .filter(|celsius| *celsius <= hottest)
            .map(|celsius| (axis.floor - celsius * axis.per_degree, self.show.degrees(celsius)))
            .collect()
    }

    /// The named temperatures from below, their names kept apart from each other.
    fn names(&self, axis: &Axis) -> Vec<NameAt> {
        let mut sorted: Vec<&Named> = self.named.iter().collect();
        sorted.sort_by(|a, b| a.celsius.total_cmp(&b.celsius));
        let mut lowest_free = axis.floor;
        sorted
            .into_iter()
            .map(|named| {
                let y = axis.floor - named.celsius * axis.per_degree;
                let text_y = (y + 4.0).min(lowest_free);
                lowest_free = text_y - NAME_APART;
                NameAt {
                    y,
                    text_y,
                    words: format!("{}, {}", named.name, self.show.degrees(named.celsius)),
                    passes: named.core.map(|minute| minute * axis.per_minute),
                }
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
    use super::*;

    #[test]
    fn working_hours_are_counted_from_the_start_through_a_change_of_the_clocks() {
        let zone = TimeZone::get("Europe/Lisbon").unwrap();
        let mut week = Week::default();
        week.hours[5] = vec![(480, 720)];
        week.hours[6] = vec![(480, 720)];
        // Saturday 28 March 2026, 20:00; the clocks go forward at 01:00 UTC (Directive
        // 2000/84/EC), so that eight o'clock on Sunday is eleven hours away, not twelve.
        let from = Moment("2026-03-28T20:00:00Z".parse().unwrap());
        assert_eq!(daylight(&week, &zone, from, 1000.0), [(660.0, 900.0)]);
    }

    #[test]
    fn a_reading_lies_between_points_and_outside_there_is_none() {
        let drawn =
            Drawn { curve: Curve::Kiln, points: vec![(0.0, 20.0), (10.0, 120.0), (20.0, 120.0)] };
        assert_eq!(drawn.at(5.0), Some(70.0));
        assert_eq!(drawn.at(20.0), Some(120.0));
        assert_eq!(drawn.at(21.0), None);
    }

    #[test]
    fn names_close_together_do_not_lie_on_each_other() {
        let show = Show {
            units: crate::web::Units::default(),
            zone: TimeZone::UTC,
            now: Moment::default(),
        };
        let mut chart = Chart::new("", &show);
        for celsius in [100.0, 105.0, 110.0, 600.0] {
            chart.named.push(Named { name: String::new(), celsius, core: None });
        }
        let axis = Axis { per_minute: 1.0, per_degree: 0.3, floor: 270.0 };
        let names = chart.names(&axis);
        assert!(names.windows(2).all(|pair| pair[0].text_y - pair[1].text_y >= NAME_APART));
    }
}
