//! What the flasks of an alloy lost, one after the other, with the limits of what is usual; drawn
//! on the server. No SQL.

use super::losses::OfAlloy;

const WIDTH: f64 = 560.0;
const HEIGHT: f64 = 132.0;
/// Room for the figures at the left.
const LEFT: f64 = 64.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 12.0;
const BOTTOM: f64 = 16.0;
/// More points than these would touch each other.
const MOST_POINTS: usize = 60;

/// A flask in the chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) outside: bool,
}

/// A line across the chart with the figure beside it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Level {
    pub(super) y: f64,
    pub(super) words: String,
    /// How it is drawn: `limit` or `mean`.
    pub(super) class: &'static str,
}

/// The control chart of an alloy.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct LossChart {
    pub(super) alloy: String,
    pub(super) points: Vec<Point>,
    pub(super) levels: Vec<Level>,
    /// The flasks that are drawn.
    pub(super) shown: usize,
}

impl LossChart {
    /// Draws an alloy that has limits; the last flasks, where there are many.
    pub(super) fn of(alloy: &OfAlloy) -> Option<Self> {
        let (lower, upper, _) = alloy.limits.as_ref()?;
        let skipped = alloy.each.len().saturating_sub(MOST_POINTS);
        let shown = alloy.each.get(skipped..)?;
        let mean = alloy.each.iter().map(|(share, _)| share).sum::<f64>() / alloy.each.len() as f64;
        let most = shown.iter().map(|(share, _)| *share).fold(*upper, f64::max).max(0.01) * 1.08;
        let least = shown.iter().map(|(share, _)| *share).fold(0.0, f64::min);
        let y = |share: f64| {
            let inner = HEIGHT - TOP - BOTTOM;
            TOP + inner * (1.0 - (share - least) / (most - least))
        };
        let step = (WIDTH - LEFT - RIGHT) / (shown.len().max(2) - 1) as f64;
        let points = shown.iter().enumerate();
        let points = points.map(|(n, (share, outside))| Point {
            x: LEFT + step * n as f64,
            y: y(*share),
            outside: *outside,
        });
        let level = |share: f64, class| Level { y: y(share), words: format!("{share:.2}"), class };
        // A figure that would stand on another one is left out; the line is not.
        let mut levels = vec![level(*upper, "limit"), level(mean, "mean"), level(*lower, "limit")];
        for at in 1..levels.len() {
            if levels[at].y - levels[at - 1].y < 18.0 {
                levels[at].words.clear();
            }
        }
        let points = points.collect();
        Some(Self { alloy: alloy.alloy.clone(), points, levels, shown: shown.len() })
    }

    pub(super) const fn width(&self) -> f64 {
        WIDTH
    }

    pub(super) const fn height(&self) -> f64 {
        HEIGHT
    }

    pub(super) const fn left(&self) -> f64 {
        LEFT
    }

    /// The points as the line that joins them.
    pub(super) fn path(&self) -> String {
        let each = self.points.iter().map(|point| format!("{:.1},{:.1}", point.x, point.y));
        each.collect::<Vec<_>>().join(" ")
    }

    pub(super) fn outside(&self) -> usize {
        self.points.iter().filter(|point| point.outside).count()
    }
}

#[cfg(test)]
mod tests {
    use foundry::working::Working;

    use super::*;

    fn alloy(shares: &[f64], limits: Option<(f64, f64)>) -> OfAlloy {
        OfAlloy {
            alloy: "Test silver".to_owned(),
            flasks: shares.len(),
            charged: 0,
            lost: 0,
            limits: limits.map(|(lower, upper)| (lower, upper, Working::default())),
            outside: 0,
            each: shares.iter().map(|share| (*share, *share > 2.0)).collect(),
        }
    }

    #[test]
    fn without_limits_nothing_is_drawn() {
        assert_eq!(LossChart::of(&alloy(&[1.0, 1.2], None)), None);
    }

    #[test]
    fn points_stand_between_or_beyond_the_limits_as_their_figures_do() {
        let chart = LossChart::of(&alloy(&[1.0, 1.5, 1.2, 3.0], Some((0.5, 2.0)))).unwrap();
        let (upper, lower) = (chart.levels[0].y, chart.levels[2].y);
        let [first, .., last] = chart.points[..] else { panic!("four points") };
        assert!(upper < first.y && first.y < lower);
        assert!(last.y < upper && last.outside && last.x > first.x);
        assert!(chart.points.iter().all(|point| point.y >= 0.0 && point.y <= HEIGHT));
        assert_eq!((chart.outside(), chart.shown), (1, 4));
    }

    #[test]
    fn of_many_flasks_the_last_are_drawn_and_equal_ones_do_not_break_it() {
        let chart = LossChart::of(&alloy(&[1.0; 100], Some((1.0, 1.0)))).unwrap();
        assert_eq!(chart.points.len(), MOST_POINTS);
        assert!(chart.points.iter().all(|point| point.y.is_finite() && point.x <= WIDTH));
    }
}
