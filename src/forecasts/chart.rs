//! Castings by how hard they were, and how the chance falls: 600 wide and 170 high.

use foundry::yields::LimitSeen;

use super::view::Seen;

/// From its left edge to its right one.
const WIDE: f64 = 560.0;

/// What is drawn.
pub(super) struct Chart {
    /// A casting each: its place, and whether it came out.
    pub(super) dots: Vec<(f64, f64, bool)>,
    /// The curve of the chance; empty where none was fitted.
    pub(super) curve: String,
    /// The ends of the scale.
    pub(super) ends: (f64, f64),
    from: f64,
    scale: f64,
}

impl Chart {
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
    let mut chart =
        Chart { dots: Vec::new(), curve: String::new(), ends: (least, most), from: least, scale };
    for (n, outcome) in seen.outcomes.iter().enumerate() {
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
