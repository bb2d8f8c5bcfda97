//! Shares in the order they came with the limits of what is usual, drawn on the server.

use askama::Template;

use crate::web::Html;

const WIDTH: f64 = 560.0;
const HEIGHT: f64 = 132.0;
/// Room for the figures at the left.
const LEFT: f64 = 64.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 12.0;
const BOTTOM: f64 = 16.0;
/// More points than these would touch each other.
const MOST_POINTS: usize = 60;
/// Figures nearer than this would stand on each other.
const LINE: f64 = 18.0;

/// A share with its own limits, all in per cent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Charted {
    /// How much.
    pub share: f64,
    /// Below this is less than usual.
    pub low: f64,
    /// Above this is more than usual.
    pub high: f64,
    /// Whether it lies beyond its limits.
    pub outside: bool,
}

struct Point {
    x: f64,
    y: f64,
    outside: bool,
}

/// A figure at the left edge.
struct Label {
    y: f64,
    words: String,
}

#[derive(Template)]
#[template(path = "parts/control_chart.html")]
struct ControlChart<'a> {
    caption: String,
    title: &'a str,
    width: f64,
    height: f64,
    left: f64,
    right: f64,
    mean: f64,
    /// The limits as stairs, for each share may have its own.
    limits: [String; 2],
    labels: Vec<Label>,
    points: Vec<Point>,
}

impl ControlChart<'_> {
    /// The points as the line that joins them.
    fn path(&self) -> String {
        let each = self.points.iter().map(|point| format!("{:.1},{:.1}", point.x, point.y));
        each.collect::<Vec<_>>().join(" ")
    }
}

/// Draws shares, the earliest first, or the last of them where there are many; `title` says in
/// words what is drawn.
#[must_use]
pub fn control_chart(caption: &str, title: &str, mean: f64, shares: &[Charted]) -> Html {
    let shown = &shares[shares.len().saturating_sub(MOST_POINTS)..];
    let Some(first) = shown.first() else { return Html::default() };
    let edges = |fold: fn(f64, f64) -> f64, pick: fn(&Charted) -> f64, from: f64| {
        shown.iter().map(pick).fold(from, fold)
    };
    let highest = edges(f64::max, |each| each.share.max(each.high), mean).max(0.01);
    let lowest = edges(f64::min, |each| each.share.min(each.low), mean);
    // A little room above and below; not below nothing, unless there is something.
    let room = ((highest - lowest) * 0.08).max(highest.abs() * 0.001);
    let (most, least) = (highest + room, (lowest - room).max(lowest.min(0.0)));
    let y = |share: f64| TOP + (HEIGHT - TOP - BOTTOM) * (1.0 - (share - least) / (most - least));
    let step = (WIDTH - LEFT - RIGHT) / shown.len() as f64;
    let stairs = |pick: fn(&Charted) -> f64| {
        let each = shown.iter().enumerate().map(|(n, each)| {
            let (move_to, right) = (if n == 0 { "M" } else { "L" }, LEFT + step * (n + 1) as f64);
            format!("{move_to}{:.1} {:.1}H{right:.1}", LEFT + step * n as f64, y(pick(each)))
        });
        each.collect::<String>()
    };
    let decimals = if most < 10.0 { 2 } else { 1 };
    let label = |share: f64| Label { y: y(share), words: format!("{share:.decimals$}") };
    // A figure that would stand on another one is left out; the line is not.
    let mut labels = vec![label(first.high)];
    for next in [label(mean), label(first.low)] {
        if labels.last().is_none_or(|above| next.y - above.y >= LINE) {
            labels.push(next);
        }
    }
    let caption = if shown.len() < shares.len() {
        format!("{caption}, the last {}", shown.len())
    } else {
        caption.to_owned()
    };
    Html::of(&ControlChart {
        caption,
        title,
        width: WIDTH,
        height: HEIGHT,
        left: LEFT,
        right: WIDTH - RIGHT,
        mean: y(mean),
        limits: [stairs(|each| each.high), stairs(|each| each.low)],
        labels,
        points: shown
            .iter()
            .enumerate()
            .map(|(n, each)| Point {
                x: LEFT + step * (n as f64 + 0.5),
                y: y(each.share),
                outside: each.outside,
            })
            .collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn charted(shares: &[f64], (low, high): (f64, f64)) -> Vec<Charted> {
        let each = shares.iter();
        each.map(|share| Charted { share: *share, low, high, outside: *share > high }).collect()
    }

    /// The heights of what is drawn as circles.
    fn heights(chart: &Html) -> Vec<f64> {
        let each = chart.as_str().split("cy=\"").skip(1);
        each.map(|rest| rest.split('"').next().unwrap().parse().unwrap()).collect()
    }

    #[test]
    fn nothing_is_drawn_of_nothing() {
        assert_eq!(control_chart("", "nothing", 0.0, &[]), Html::default());
    }

    #[test]
    fn points_stand_between_or_beyond_the_limits_as_their_figures_do() {
        let chart = control_chart("", "four", 1.7, &charted(&[1.0, 1.5, 1.2, 3.0], (0.5, 2.0)));
        let height = |n: usize| -> f64 {
            let stairs = chart.as_str().split("class=\"limit\" d=\"M64.0 ").nth(n).unwrap();
            stairs.split('H').next().unwrap().parse().unwrap()
        };
        let (upper, lower) = (height(1), height(2));
        let circles = heights(&chart);
        assert_eq!(circles.len(), 3, "the fourth is a diamond");
        assert!(circles.iter().all(|y| upper < *y && *y < lower), "{upper} {circles:?} {lower}");
        assert_eq!(chart.as_str().matches("class=\"beyond\"").count(), 1);
    }

    #[test]
    fn each_share_has_its_own_limits() {
        let mut shares = charted(&[1.0, 1.0], (0.0, 2.0));
        shares[1].high = 4.0;
        let chart = control_chart("", "two", 1.0, &shares);
        let stairs = chart.as_str().split("class=\"limit\" d=\"").nth(1).unwrap();
        let stairs = stairs.split('"').next().unwrap();
        let steps: Vec<&str> = stairs.split('L').collect();
        assert_eq!(steps.len(), 2);
        assert_ne!(steps[0].split(' ').nth(1), steps[1].split(' ').nth(1));
    }

    #[test]
    fn of_many_the_last_are_drawn_and_equal_ones_do_not_break_it() {
        let chart = control_chart("flasks", "many", 1.0, &charted(&[1.0; 100], (1.0, 1.0)));
        assert_eq!(heights(&chart).len(), MOST_POINTS);
        assert!(chart.as_str().contains("flasks, the last 60"));
        assert!(heights(&chart).iter().all(|y| y.is_finite() && *y >= 0.0 && *y <= HEIGHT));
        let nothing = control_chart("", "none failed", 0.0, &charted(&[0.0; 5], (0.0, 0.0)));
        assert!(heights(&nothing).iter().all(|y| y.is_finite()));
    }
}
