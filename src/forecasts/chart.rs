//! Castings by how hard they were, and how the chance falls: 600 wide and 150 high. A few are drawn
//! one by one, many are counted in bars: those that came out hang from above, the others stand below.

use foundry::yields::LimitSeen;

use super::view::Seen;

/// From its left edge to its right one.
const WIDE: f64 = 560.0;

/// So many castings can be told apart as dots.
const DOTS: usize = 60;

/// More are counted in so many bars.
const BARS: usize = 28;

/// The longest bar.
const LONG: f64 = 60.0;

/// What is drawn.
pub(super) struct Chart {
    /// A casting each: its place, and whether it came out; empty where there are too many.
    pub(super) dots: Vec<(f64, f64, bool)>,
    /// Then bars: the left edge, the upper one, how long, and whether of those that came out.
    pub(super) bars: Vec<(f64, f64, f64, bool)>,
    /// The curve of the chance; empty where none was fitted.
    pub(super) curve: String,
    /// The ends of the scale.
    pub(super) ends: (f64, f64),
    from: f64,
    scale: f64,
}

impl Chart {
    /// How wide a bar is.
    pub(super) fn bar_width(&self) -> f64 {
        WIDE / BARS as f64 - 2.0
    }

    /// Counts castings in bars of equal width; all to one scale.
    fn count(&mut self, seen: &Seen) {
        let mut counts = [[0_u32; 2]; BARS];
        for outcome in &seen.outcomes {
            let bar = ((self.x(outcome.margin) - 20.0) / WIDE * BARS as f64) as usize;
            counts[bar.min(BARS - 1)][usize::from(outcome.good)] += 1;
        }
        let most = counts.iter().flatten().copied().max().unwrap_or(0).max(1);
        for (n, count) in counts.iter().enumerate() {
            let left = 21.0 + WIDE / BARS as f64 * n as f64;
            for (good, count) in [false, true].into_iter().zip(count) {
                let long = f64::from(*count) / f64::from(most) * LONG;
                if *count > 0 {
                    self.bars.push((left, if good { 10.0 } else { 140.0 - long }, long, good));
                }
            }
        }
    }

    /// The place of a margin.
    pub(super) fn x(&self, margin: f64) -> f64 {
        20.0 + ((margin - self.from) * self.scale).clamp(0.0, WIDE)
    }
}

/// The chart of what was seen; none of nothing.
pub(super) fn of(seen: &Seen) -> Option<Chart> {
    let margins = || seen.outcomes.iter().map(|outcome| outcome.margin);
    let (least, most) = (margins().fold(0.0, f64::min), margins().fold(1.0, f64::max));
    if seen.outcomes.is_empty() {
        return None;
    }
    let scale = WIDE / (most - least).max(1e-9);
    let mut chart = Chart {
        dots: Vec::new(),
        bars: Vec::new(),
        curve: String::new(),
        ends: (least, most),
        from: least,
        scale,
    };
    if seen.outcomes.len() > DOTS {
        chart.count(seen);
    }
    let singly = if chart.bars.is_empty() { seen.outcomes.as_slice() } else { &[] };
    for (n, outcome) in singly.iter().enumerate() {
        // One beside the other, so that castings of one design do not hide each other.
        let aside = (n % 8) as f64 * 3.0;
        let y = if outcome.good { 20.0 + aside } else { 130.0 - aside };
        chart.dots.push((chart.x(outcome.margin), y, outcome.good));
    }
    if let Ok(worked) = &seen.limit
        && let LimitSeen::Fitted(fit) = worked.value
    {
        let points = (0..=80).map(|n| {
            let margin = least + (most - least) * f64::from(n) / 80.0;
            format!("{:.1},{:.1}", chart.x(margin), 140.0 - 130.0 * fit.chance(margin))
        });
        chart.curve = points.collect::<Vec<_>>().join(" ");
    }
    Some(chart)
}

#[cfg(test)]
mod tests {
    use foundry::yields::{Confidence, Outcome, fit_limit};

    use super::*;
    use crate::forecasts::model::What;

    fn seen(castings: usize) -> Seen {
        let outcomes: Vec<Outcome> = (0..castings)
            .map(|n| Outcome { margin: n as f64 / castings as f64 * 1.4 - 0.2, good: n % 3 > 0 })
            .collect();
        let limit = fit_limit(&outcomes, Confidence::NinetyFive);
        Seen { what: What::Fill, outcomes, limit }
    }

    #[test]
    fn a_few_castings_are_dots_and_many_are_bars_that_stay_inside() {
        let few = of(&seen(30)).unwrap();
        assert!(few.dots.len() == 30 && few.bars.is_empty());
        let many = of(&seen(400)).unwrap();
        assert!(many.dots.is_empty() && many.bars.len() > BARS);
        for (left, top, long, _) in &many.bars {
            assert!(*left >= 20.0 && left + many.bar_width() <= 580.0, "{left}");
            assert!(*top >= 10.0 && top + long <= 140.0 + 1e-9, "{top} {long}");
        }
        let longest = |good| many.bars.iter().filter(move |bar| bar.3 == good).map(|bar| bar.2);
        assert!((longest(true).fold(0.0, f64::max) - LONG).abs() < 1e-9, "two of three came out");
        assert!(longest(false).fold(0.0, f64::max) < LONG);
    }
}
