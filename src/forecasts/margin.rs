//! How hard a casting was, in one number, and the limits of this studio in that measure. No SQL.

use serde_json::Value;

use super::model::{Verdict, What};

/// Log odds of nine in ten.
const NINE_OF_TEN: f64 = 2.197_224_577_336_219;

/// Sections as thin as this are never called safe, whatever was learned from thicker ones: as in
/// `foundry::fill`.
const NEVER_SAFE_BELOW_MM: f64 = 0.5;

/// How hard a casting was; the greater, the harder. None where the numbers do not tell.
///
/// Of filling: where between the shortest and the longest way the metal may run (0 and 1, in
/// ratios) the way lies that it must run. What the calculation cannot know, friction and the heat
/// that passes to the mould, moves the true end between those two; it does not hang on the design.
/// Where pressure alone leaves it open there is no shortest way, and nothing is told.
///
/// Of feeding: the diameter in millimetres of a ball as large as the voids that are to be expected,
/// nothing where none are.
pub(super) fn margin(what: What, figures: &Value) -> Option<f64> {
    let figure = |name: &str| figures.get(name)?.as_f64();
    let margin = match what {
        What::Fill => {
            let (run, shortest, longest) =
                (figure("run_mm")?, figure("shortest_mm")?, figure("longest_mm")?);
            if run <= 0.0 || shortest <= 0.0 || longest <= shortest {
                return None;
            }
            (run / shortest).ln() / (longest / shortest).ln()
        }
        What::Feed => (6.0 * figure("porosity_mm3")?.max(0.0) / std::f64::consts::PI).cbrt(),
    };
    margin.is_finite().then_some(margin)
}

/// Where the calculation itself draws the line: up to it a casting comes out, or from it on it
/// does not. It calls no void harmless.
#[must_use]
pub const fn drawn(what: What, verdict: Verdict) -> f64 {
    match (what, verdict) {
        (What::Fill, Verdict::No) => 1.0,
        _ => 0.0,
    }
}

/// The limits of one forecast that were taken over.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Own {
    /// Up to this margin a casting comes out.
    pub yes: Option<f64>,
    /// From this margin on it does not.
    pub no: Option<f64>,
}

/// This studio's limits, as far as they were taken over.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Limits {
    /// Of filling.
    pub fill: Own,
    /// Of feeding.
    pub feed: Own,
}

impl Limits {
    /// Those of one forecast.
    #[must_use]
    pub const fn of(&self, what: What) -> Own {
        match what {
            What::Fill => self.fill,
            What::Feed => self.feed,
        }
    }

    /// The verdict by them; none where none was taken over, or where they say nothing.
    #[must_use]
    pub fn verdict(&self, what: What, figures: &Value) -> Option<Verdict> {
        let own = self.of(what);
        if own == Own::default() {
            return None;
        }
        let margin = margin(what, figures)?;
        let yes = own.yes.unwrap_or(drawn(what, Verdict::Yes));
        let no = own.no.unwrap_or(drawn(what, Verdict::No));
        let thin =
            what == What::Fill && figures.get("thickness_mm")?.as_f64()? <= NEVER_SAFE_BELOW_MM;
        Some(match margin {
            margin if margin <= yes && !thin => Verdict::Yes,
            margin if margin >= no && margin > yes => Verdict::No,
            _ => Verdict::Doubtful,
        })
    }

    /// The chance that a casting comes out, when both limits were taken over: nine in ten at the
    /// one, one in ten at the other, and a straight line of log odds between and beyond.
    #[must_use]
    pub fn chance(&self, what: What, figures: &Value) -> Option<f64> {
        let Own { yes: Some(yes), no: Some(no) } = self.of(what) else { return None };
        if no <= yes {
            return None;
        }
        let share = (margin(what, figures)? - yes) / (no - yes);
        Some(1.0 / (1.0 + (-NINE_OF_TEN * (1.0 - 2.0 * share)).exp()))
    }

    /// How far metal runs in this studio in half of all castings, between the two ways that the
    /// calculation gives.
    #[must_use]
    pub fn usual_run_mm(&self, shortest_mm: f64, longest_mm: f64) -> Option<f64> {
        let Own { yes: Some(yes), no: Some(no) } = self.fill else { return None };
        let run = shortest_mm * (longest_mm / shortest_mm).powf((yes + no) / 2.0);
        run.is_finite().then_some(run)
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn filling(run_mm: f64, thickness_mm: f64) -> Value {
        json!({ "run_mm": run_mm, "shortest_mm": 5.0, "longest_mm": 80.0, "thickness_mm": thickness_mm })
    }

    #[test]
    fn the_way_to_run_lies_between_the_shortest_and_the_longest() {
        // √(5 · 80) = 20 lies in the middle of 5 and 80 by ratios.
        let at = |run| margin(What::Fill, &filling(run, 1.0)).unwrap();
        assert!((at(5.0)).abs() < 1e-12 && (at(20.0) - 0.5).abs() < 1e-12);
        assert!((at(80.0) - 1.0).abs() < 1e-12 && at(2.5) < 0.0);
        let stands = json!({ "run_mm": 5.0, "shortest_mm": 0.0, "longest_mm": 80.0 });
        assert_eq!(margin(What::Fill, &stands), None, "pressure leaves it open");
        // A ball of 1 mm has π/6 mm³.
        let feed = json!({ "porosity_mm3": std::f64::consts::FRAC_PI_6 });
        assert!((margin(What::Feed, &feed).unwrap() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn nothing_is_said_by_limits_that_nobody_took_over() {
        assert_eq!(Limits::default().verdict(What::Fill, &filling(20.0, 1.0)), None);
        let feed = Limits { feed: Own { yes: Some(0.4), no: None }, ..Limits::default() };
        assert_eq!(feed.verdict(What::Fill, &filling(20.0, 1.0)), None);
        assert_eq!(feed.verdict(What::Feed, &json!({ "porosity_mm3": 0.02 })), Some(Verdict::Yes));
        assert_eq!(feed.verdict(What::Feed, &json!({ "porosity_mm3": 2.0 })), Some(Verdict::No));
    }

    #[test]
    fn limits_move_the_verdict_and_thin_sections_stay_doubtful() {
        let limits = Limits { fill: Own { yes: Some(0.3), no: Some(0.7) }, ..Limits::default() };
        let verdict = |run, mm| limits.verdict(What::Fill, &filling(run, mm)).unwrap();
        // 5 · 16^0.3 = 11.49 and 5 · 16^0.7 = 34.82.
        assert_eq!(verdict(11.4, 1.0), Verdict::Yes);
        assert_eq!(verdict(11.6, 1.0), Verdict::Doubtful);
        assert_eq!(verdict(34.9, 1.0), Verdict::No);
        assert_eq!(verdict(6.0, 0.5), Verdict::Doubtful, "0.5 mm is never called safe");
        let chance = |run| limits.chance(What::Fill, &filling(run, 1.0)).unwrap();
        assert!((chance(20.0) - 0.5).abs() < 1e-9);
        assert!((chance(5.0 * 16_f64.powf(0.3)) - 0.9).abs() < 1e-9);
        assert!((limits.usual_run_mm(5.0, 80.0).unwrap() - 20.0).abs() < 1e-9);
    }
}
