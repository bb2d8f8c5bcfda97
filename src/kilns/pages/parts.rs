//! Parts of the page inside the flask that are made anew on their own: heat line, verdict and
//! programme while it is tried; the flask cut open at another moment.

use askama::Template;
use axum::extract::{Path, RawQuery, State};
use foundry::heat::{Concern, Finding, Sample, Section, Severity};
use uuid::Uuid;

use super::inside::{InsidePage, Wanted, beside, page};
use crate::kilns::asked::{FIELDS, Start};
use crate::kilns::drawing::Cut;
use crate::kilns::firing::{Firing, weight};
use crate::kilns::{Chart, Curve, SegmentRow, editor};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame, Html, Plain, working_of};

/// A computed firing, ready to be drawn.
pub(super) struct Shown {
    pub(super) firing: Firing,
    pub(super) casting_c: f64,
    pub(super) bench_min: Option<f64>,
    /// The shortest safe programme, drawn beside it.
    pub(super) shortest: Vec<SegmentRow>,
}

impl Shown {
    pub(super) fn new(firing: Firing, casting_c: f64) -> Self {
        Self { firing, casting_c, bench_min: None, shortest: Vec::new() }
    }

    /// Why it is not ready, in the words of what was found.
    fn reasons(&self) -> Vec<String> {
        self.firing
            .verdict
            .findings
            .iter()
            .filter(|finding| finding.severity >= Severity::Caution)
            .map(|finding| finding.concern.to_string())
            .collect()
    }

    fn above_burn_off(&self, frame: &Frame) -> Html {
        let minutes =
            frame.show.minutes(self.firing.verdict.core_above_burn_off.get().round() as i64);
        working_of(&minutes, &self.firing.working)
    }

    fn waits(&self) -> bool {
        self.firing.burnout.waited.get() > 0.5
    }
}

/// What is to be said of each line of a programme.
#[derive(Default)]
pub(super) struct Ramps {
    /// What a ramp asks for and what the kiln manages, K/h.
    rates: Vec<Option<(f64, f64)>>,
    /// Findings: the line, counted from 0, and words.
    findings: Vec<(usize, bool, String)>,
}

impl Ramps {
    pub(super) fn of(
        firing: &Firing,
        rates: Vec<Option<(f64, f64)>>,
        segments: &[SegmentRow],
    ) -> Self {
        let line_at = |minute: f64| {
            let mut end = 0.0;
            segments
                .iter()
                .position(|segment| {
                    end += f64::from(segment.minutes);
                    minute < end
                })
                .unwrap_or(segments.len().saturating_sub(1))
        };
        let findings = firing
            .findings
            .iter()
            .filter_map(|finding| {
                let line = match finding.concern {
                    Concern::BeyondPower { segment, .. }
                    | Concern::CoolsTooSlowly { segment, .. } => segment.saturating_sub(1),
                    _ => line_at(finding.minute?.get()),
                };
                let grave = finding.severity >= Severity::Caution;
                Some((line, grave, finding.concern.to_string()))
            })
            .collect();
        Self { rates, findings }
    }
}

/// A line of the editor.
struct Line {
    n: usize,
    to: Html,
    time: Html,
    asks: Option<(Html, Html)>,
    findings: Vec<(bool, String)>,
}

#[derive(Template)]
#[template(path = "kilns/tried.html")]
struct TriedPart<'a> {
    page: &'a InsidePage,
    frame: &'a Frame,
    line: Html,
    lines: Vec<Line>,
}

/// Heat line, verdict and programme of a page.
pub(super) fn tried_part(page: &InsidePage) -> Html {
    let lines = page.start.segments.len().max(typed_lines(&page.form)) + 2;
    let lines = (1..=lines.clamp(4, editor::LINES)).map(|n| editor_line(page, n)).collect();
    Html::of(&TriedPart { page, frame: &page.frame, line: heat_line(page), lines })
}

/// The last line in which something was typed.
fn typed_lines(form: &Form) -> usize {
    (1..=editor::LINES)
        .rev()
        .find(|n| {
            ["t", "m"].iter().any(|what| !form.value(&editor::field(what, *n)).trim().is_empty())
        })
        .unwrap_or(0)
}

fn editor_line(page: &InsidePage, n: usize) -> Line {
    let (to, time) = (editor::field("t", n), editor::field("m", n));
    let (to_words, time_words) = (format!("Line {n}: to"), format!("Line {n}: in"));
    let unit = if page.form.value("unit") == "F" { "°F" } else { "°C" };
    let show = &page.frame.show;
    Line {
        n,
        to: page.form.input(&to, &to_words).kind("decimal").unit(unit).html(),
        time: page.form.input(&time, &time_words).html(),
        asks: page.ramps.rates.get(n - 1).copied().flatten().map(|(asked, most)| {
            (show.number(asked, 0, "K/h"), show.number(most.max(0.0), 0, "K/h"))
        }),
        findings: page
            .ramps
            .findings
            .iter()
            .filter(|(line, ..)| line + 1 == n)
            .map(|(_, grave, words)| (*grave, words.clone()))
            .collect(),
    }
}

fn heat_line(page: &InsidePage) -> Html {
    let Some(shown) = &page.shown else { return Html::default() };
    let firing = &shown.firing;
    let line = |of: fn(&Sample) -> f64| {
        firing.burnout.samples.iter().map(|s| (s.minute.get(), of(s))).collect::<Vec<_>>()
    };
    let corners = |segments: &[SegmentRow]| {
        let mut at = 0.0;
        let mut points = vec![(0.0, crate::kilns::programme::ROOM_C)];
        for segment in segments {
            at += f64::from(segment.minutes);
            points.push((at, segment.target_c));
        }
        points
    };
    let title = format!("Heat line of {}, class {}", page.start.choices.family.name, page.size);
    let (before, after) = page.around_minute();
    let total = firing.burnout.total.get();
    let chosen = page.form.value("minute").parse().unwrap_or(total);
    let mut chart = Chart::new(title, &page.frame.show)
        .curve(Curve::Programme, corners(&page.start.segments))
        .curve(Curve::Kiln, line(|sample| sample.kiln.get()))
        .curve(Curve::Wall, line(|sample| sample.wall.get()))
        .curve(Curve::Core, line(|sample| sample.core.get()))
        .passages(&firing.verdict.passages)
        .choosing(chosen, &before, &after)
        .handles(&format!("{}/redraw", page.place()), corners(&page.start.segments))
        .least_span(page.form.value("span").parse().unwrap_or(0.0));
    if page.start.tried {
        chart = chart.curve(Curve::Before, corners(&page.start.kept));
    }
    if !shown.shortest.is_empty() {
        chart = chart.curve(Curve::Shortest, corners(&shown.shortest));
    }
    if let Some(bench) = shown.bench_min {
        chart = chart.pour_window(total, total + bench);
    }
    chart.html()
}

impl TriedPart<'_> {
    /// What the programme is computed for, sent along with it.
    fn asked(&self) -> impl Iterator<Item = (&'static str, &str)> {
        FIELDS.iter().map(|name| (*name, self.page.form.value(name)))
    }

    fn weight(&self, finding: &Finding) -> &'static str {
        weight(finding.severity)
    }

    fn minutes(&self, minutes: impl Plain<f64>) -> i64 {
        minutes.plain().round() as i64
    }

    fn gravity(&self, finding: &Finding) -> &'static str {
        match finding.severity {
            Severity::Danger => "blocking",
            Severity::Caution => "doubtful",
            Severity::Note => "",
        }
    }
}

#[derive(Template)]
#[template(path = "kilns/cut.html")]
struct CutPart<'a> {
    frame: &'a Frame,
    minute: f64,
    cut: Cut,
}

/// The flask cut open.
pub(super) fn cut_part(frame: &Frame, minute: f64, section: &Section) -> Html {
    Html::of(&CutPart { frame, minute, cut: Cut::of(section) })
}

/// Heat line, verdict and programme after a corner was moved.
pub(crate) async fn redraw(
    State(app): State<App>,
    signed: Signed,
    Path((family, size)): Path<(Uuid, String)>,
    RawQuery(query): RawQuery,
) -> Result<axum::response::Html<String>, Fault> {
    let mut form = Form::parse(query.unwrap_or_default().as_bytes());
    let start = Start::read(&app, family, &size, &mut form, &signed.frame.show).await?;
    let corner = form.whole("line", 0, 63).and_then(|line| usize::try_from(line).ok());
    let minute = form.number("to_minute", -10_080.0, 20_160.0);
    let celsius = form.number("to_c", -1000.0, 3000.0);
    if let (Some(line), Some(minute), Some(celsius)) = (corner, minute, celsius) {
        let moved = editor::moved(&start.segments, line, minute, celsius);
        editor::fill(&mut form, &moved);
    }
    let page = page(&app, signed.frame, (family, size), form, Wanted::Tried).await?;
    Ok(axum::response::Html(tried_part(&page).to_string()))
}

/// The flask cut open at another moment.
pub(crate) async fn section(
    State(app): State<App>,
    signed: Signed,
    Path((family, size)): Path<(Uuid, String)>,
    RawQuery(query): RawQuery,
) -> Result<axum::response::Html<String>, Fault> {
    let mut form = Form::parse(query.unwrap_or_default().as_bytes());
    let start = Start::read(&app, family, &size, &mut form, &signed.frame.show).await?;
    let Some(Ok(question)) = start.question(&mut form) else {
        return Ok(axum::response::Html(String::new()));
    };
    let found = beside(move || question.section()).await?;
    Ok(axum::response::Html(match found {
        Ok((minute, section)) => cut_part(&signed.frame, minute, &section).to_string(),
        Err(_) => String::new(),
    }))
}
