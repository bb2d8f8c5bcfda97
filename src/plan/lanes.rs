//! The drawing of the plan: a lane for each kiln with its heat lines to scale,
//! working hours as daylight behind, pours at the end of each firing.

use std::sync::Arc;

use super::grid::Grid;
use super::prices::Priced;
use crate::clock::{Day, Moment};
use crate::kilns::{Axis, HeatLine, Inside, KilnFacts, SegmentRow, Slow};
use crate::studio::Week;
use crate::web::Show;

/// Height of a lane; degrees are drawn from its floor upwards.
pub(super) const LANE_HEIGHT: f64 = 118.0;
const AXIS: Axis = Axis { per_minute: 0.14, per_degree: 0.105, floor: 104.0 };
/// A drawing that begins now shows so many minutes.
const SHOWN_MIN: i64 = 8 * 1440 + 360;

/// From which minute to which is drawn.
#[derive(Clone, Copy, Debug)]
pub(super) struct Window {
    pub(super) from_min: i64,
    pub(super) to_min: i64,
}

impl Window {
    /// From a Monday on for a week.
    pub(super) fn week(monday: Day, grid: &Grid) -> Self {
        let from_min = i64::from(grid.day_number(monday)) * 1440;
        Self { from_min, to_min: from_min + 7 * 1440 }
    }

    /// From the half day of a minute on.
    pub(super) fn since(minute: i64) -> Self {
        let from_min = minute.div_euclid(720) * 720;
        Self { from_min, to_min: from_min + SHOWN_MIN }
    }

    /// Whether something lies in it, if only in part.
    pub(super) fn shows(&self, from_min: i64, to_min: i64) -> bool {
        from_min < self.to_min && to_min > self.from_min
    }
}

/// A firing to be drawn.
#[derive(Clone, Debug)]
pub(super) struct Firing {
    pub(super) kiln: String,
    pub(super) name: String,
    pub(super) link: Option<String>,
    pub(super) starts: Moment,
    pub(super) load_min: i64,
    pub(super) segments: Vec<SegmentRow>,
    /// What stands in the kiln, where it is known.
    pub(super) inside: Option<Inside>,
    /// The kiln as it is known.
    pub(super) facts: Option<KilnFacts>,
    pub(super) flasks: Vec<String>,
    pub(super) pours: Vec<Moment>,
    pub(super) pour_min: i64,
    pub(super) proposed: bool,
    /// Whether it is held already, or over: how long it takes is no question any more.
    pub(super) held: bool,
}

impl Firing {
    /// Why it is held later than by its programme; none of one that is held or over.
    pub(super) fn slow(&self, line: &HeatLine) -> Option<Slow> {
        Slow::of(self.facts.as_ref().filter(|_| !self.held), line)
    }

    /// The minute at which it is held: by its programme and what its kiln takes longer.
    fn held_min(&self, line: &HeatLine, grid: &Grid) -> i64 {
        let longer = self.slow(line).map_or(0, |slow| slow.minutes);
        grid.minute(self.starts) + self.load_min + line.minutes + longer
    }

    /// The minute at which its last pour is over.
    fn over_min(&self, line: &HeatLine, grid: &Grid) -> i64 {
        let last = self.pours.iter().map(|pour| grid.minute(*pour) + self.pour_min).max();
        match last {
            Some(last) if self.held => last,
            last => self.held_min(line, grid).max(last.unwrap_or(i64::MIN)),
        }
    }
}

/// A firing as it lies on its lane.
#[derive(Clone, Debug)]
pub(super) struct Drawn {
    pub(super) name: String,
    pub(super) words: String,
    pub(super) link: Option<String>,
    pub(super) x: f64,
    pub(super) width: f64,
    pub(super) kiln_path: String,
    pub(super) core_path: String,
    pub(super) pours: Vec<f64>,
    pub(super) window: Option<(f64, f64)>,
    pub(super) proposed: bool,
}

/// A kiln's lane.
#[derive(Clone, Debug)]
pub(super) struct Lane {
    pub(super) kiln: String,
    pub(super) firings: Vec<Drawn>,
}

/// The whole drawing.
#[derive(Clone, Debug)]
pub(super) struct Lanes {
    pub(super) lanes: Vec<Lane>,
    /// Staffed times: x and width.
    pub(super) daylight: Vec<(f64, f64)>,
    /// Days: x and name.
    pub(super) days: Vec<(f64, String)>,
    /// Days on which flasks are due: x and words.
    pub(super) due: Vec<(f64, String)>,
    /// Hours in which electricity costs more than it does at its cheapest: x, width and words.
    pub(super) dear: Vec<(f64, f64, String)>,
    pub(super) now: Option<f64>,
    pub(super) width: f64,
    pub(super) height: f64,
}

/// What a drawing is made from.
pub(super) struct Scene<'a> {
    pub(super) kilns: &'a [String],
    pub(super) firings: &'a [Firing],
    /// The heat line of each firing.
    pub(super) lines: &'a [Arc<HeatLine>],
    pub(super) week: &'a Week,
    pub(super) grid: &'a Grid,
    pub(super) show: &'a Show,
    pub(super) window: Window,
    pub(super) due: &'a [(Day, usize)],
    pub(super) priced: Option<&'a Priced>,
}

impl Lanes {
    /// Draws firings on the lanes of the kilns.
    pub(super) fn draw(scene: &Scene<'_>) -> Self {
        let Scene { kilns, firings, lines, week, grid, show, window, due, priced } = scene;
        let now = grid.minute(show.now);
        let (origin, end) = (window.from_min, window.to_min);
        let x = |minute: i64| (minute - origin) as f64 * AXIS.per_minute;
        let lanes = kilns
            .iter()
            .map(|kiln| Lane {
                kiln: kiln.clone(),
                firings: firings
                    .iter()
                    .zip(*lines)
                    .filter(|(firing, _)| firing.kiln == *kiln)
                    .map(|(firing, line)| drawn(firing, line, grid, &x, show))
                    .collect(),
            })
            .collect();
        let mut days = Vec::new();
        let mut daylight = Vec::new();
        for day in origin.div_euclid(1440)..=end.div_euclid(1440) {
            let date = grid.day_zero.plus_days(i32::try_from(day).unwrap_or(0));
            days.push((x((day * 1440).max(origin)), name(date, show)));
            for (from, to) in week.on(date) {
                let from = (day * 1440 + i64::from(*from)).max(origin);
                let to = (day * 1440 + i64::from(*to)).min(end);
                if from < to {
                    daylight.push((x(from), x(to) - x(from)));
                }
            }
        }
        Self {
            height: kilns.len().max(1) as f64 * LANE_HEIGHT,
            lanes,
            daylight,
            days,
            due: due
                .iter()
                .map(|(day, flasks)| {
                    (x((i64::from(grid.day_number(*day)) + 1) * 1440), format!("{flasks} due"))
                })
                .filter(|(at, _)| (0.0..=x(end)).contains(at))
                .collect(),
            dear: priced.map_or_else(Vec::new, |priced| {
                let dear = priced.dear_between(origin, end);
                dear.map(|(from, to, words)| (x(from), x(to) - x(from), words)).collect()
            }),
            now: (origin..end).contains(&now).then(|| x(now)),
            width: x(end),
        }
    }
}

fn name(day: Day, show: &Show) -> String {
    show.day(day)
}

/// A line up to a minute, and level from its end on if that is earlier.
fn until(line: &[(f64, f64)], end: f64) -> Vec<(f64, f64)> {
    let within = line.partition_point(|(minute, _)| *minute <= end);
    let mut points = line[..within].to_vec();
    let Some(&(last, celsius)) = points.last() else { return points };
    if last < end {
        let at_end = line.get(within).map_or(celsius, |(minute, next)| {
            celsius + (next - celsius) * (end - last) / (minute - last)
        });
        points.push((end, at_end));
    }
    points
}

fn drawn(
    firing: &Firing,
    line: &HeatLine,
    grid: &Grid,
    x: &impl Fn(i64) -> f64,
    show: &Show,
) -> Drawn {
    let begins = grid.minute(firing.starts);
    let burns = begins + firing.load_min;
    let shift = x(burns) / AXIS.per_minute;
    // Held at its last temperature until the last pour, and not drawn beyond that.
    let end = firing.over_min(line, grid);
    let kiln = until(&line.kiln, (end - burns) as f64);
    let core_ends = line.core.last().map_or(0.0, |(minute, _)| *minute);
    let core = until(&line.core, core_ends.min((end - burns) as f64));
    let pours: Vec<i64> = firing.pours.iter().map(|pour| grid.minute(*pour)).collect();
    let window = pours
        .iter()
        .min()
        .zip(pours.iter().max())
        .map(|(first, last)| (x(*first), x(*last + firing.pour_min) - x(*first)));
    let pour_words = match (firing.pours.iter().min(), firing.pours.len()) {
        (Some(first), n) => {
            format!(", {n} {} from {}", if n == 1 { "pour" } else { "pours" }, show.moment(first))
        }
        (None, _) => String::new(),
    };
    Drawn {
        words: format!(
            "{}: {} loaded {}, held from {}{pour_words}",
            firing.name,
            firing.flasks.join(", "),
            show.moment(firing.starts),
            show.moment(grid.moment(firing.held_min(line, grid))),
        ),
        name: firing.name.clone(),
        link: firing.link.clone(),
        x: x(begins),
        width: x(end) - x(begins),
        kiln_path: AXIS.path(shift, &kiln),
        core_path: AXIS.path(shift, &core),
        pours: pours.into_iter().map(x).collect(),
        window,
        proposed: firing.proposed,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_ends_where_its_firing_does() {
        let line = [(0.0, 20.0), (60.0, 140.0), (120.0, 140.0)];
        assert_eq!(until(&line, 30.0), [(0.0, 20.0), (30.0, 80.0)]);
        assert_eq!(until(&line, 60.0), [(0.0, 20.0), (60.0, 140.0)]);
        assert_eq!(until(&line, 200.0)[2..], [(120.0, 140.0), (200.0, 140.0)]);
        assert_eq!(until(&[], 200.0), []);
    }
}
