//! What was typed but can hardly be: asked once more before it is recorded.
//!
//! Weights are compared with what is known beforehand, by the limits of `foundry::metal`; steps
//! with a clock by how much of it is left. Whoever ticks that it is so is believed.

use foundry::metal::{
    Expected, expected_castings, expected_finished, expected_pour, expected_tree, unlikely_loss,
};
use foundry::quantity::{CubicMillimetres, Grams, GramsPerCubicCentimetre};

use crate::clock::Moment;
use crate::web::Refused;

/// A step is early when more than this share of its clock is left. Common practice, no source:
/// clocks are estimates, and the last tenth of a burnout is its hold.
const EARLY: f64 = 0.1;

fn words(grams: f64) -> String {
    let text = format!("{grams:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn about(grams: f64) -> String {
    if grams < 10.0 { format!("{grams:.1}") } else { format!("{grams:.0}") }
}

fn asked(expected: Expected, weighed: Grams, of: &str) -> Result<(), Refused> {
    if expected.allows(weighed) {
        return Ok(());
    }
    Err(Refused::doubted(format!(
        "{of}Expected about {} g. Record {} g all the same?",
        about(expected.about.get()),
        words(weighed.get())
    )))
}

/// A tree without its base, beside the models on it; nothing is asked while one of them is open.
pub fn tree(models_mm3: Option<f64>, pattern_g_cm3: f64, tree_g: f64) -> Result<(), Refused> {
    let (Some(Ok(models)), Ok(pattern), Ok(tree)) = (
        models_mm3.map(CubicMillimetres::new),
        GramsPerCubicCentimetre::new(pattern_g_cm3),
        Grams::new(tree_g),
    ) else {
        return Ok(());
    };
    asked(expected_tree(models, pattern), tree, "Without base and sprue, by its models: ")
}

/// What is poured, beside the charge that was worked out.
pub fn poured(charge_g: Option<f64>, poured_cg: i64) -> Result<(), Refused> {
    let Some(Ok(charge)) = charge_g.map(Grams::new) else { return Ok(()) };
    asked(expected_pour(charge), in_grams(poured_cg), "")
}

/// Castings and returns of a flask, beside its models and what was poured.
pub fn divested(
    models_g: Option<f64>,
    poured_cg: i64,
    castings_cg: i64,
    returns_cg: i64,
) -> Result<(), Refused> {
    let (poured, castings) = (in_grams(poured_cg), in_grams(castings_cg));
    if let Some(share) = unlikely_loss(poured, castings, in_grams(returns_cg)) {
        let lost = poured.get() - castings.get() - in_grams(returns_cg).get();
        return Err(Refused::doubted(format!(
            "{} g of the {} g that were poured, {:.0} %, would go to loss. Is everything on the scale? Record it all the same?",
            words(lost),
            words(poured.get()),
            share.percent()
        )));
    }
    let Some(Ok(models)) = models_g.map(Grams::new) else { return Ok(()) };
    asked(expected_castings(models, Some(poured)), castings, "Castings: ")
}

/// A piece after it was cut off, beside its model and what was poured into its flask.
pub fn cut_off(model_g: Option<f64>, poured_cg: Option<i64>, raw_cg: i64) -> Result<(), Refused> {
    let Some(Ok(model)) = model_g.map(Grams::new) else {
        let poured = poured_cg.filter(|poured| raw_cg > *poured);
        return match poured {
            Some(poured) => Err(Refused::doubted(format!(
                "Only {} g were poured into its flask. Record {} g all the same?",
                words(in_grams(poured).get()),
                words(in_grams(raw_cg).get())
            ))),
            None => Ok(()),
        };
    };
    asked(expected_castings(model, poured_cg.map(in_grams)), in_grams(raw_cg), "Cut off: ")
}

/// A finished piece, beside its model.
pub fn finished(model_g: Option<f64>, finished_cg: i64) -> Result<(), Refused> {
    let Some(Ok(model)) = model_g.map(Grams::new) else { return Ok(()) };
    asked(expected_finished(model), in_grams(finished_cg), "Finished: ")
}

/// A step that is told as over while more than a tenth of its clock is left: `what` is what is
/// left of, `why` what an early end does, `question` what is asked.
pub fn over(
    (began, ends): (Moment, Moment),
    now: Moment,
    what: &str,
    why: &str,
    question: &str,
) -> Result<(), Refused> {
    let (whole, left) = (ends.seconds_since(began), ends.seconds_since(now));
    if whole <= 0 || left as f64 <= EARLY * whole as f64 {
        return Ok(());
    }
    Err(Refused::doubted(format!("{} of the {what} are left; {why}. {question}", span(left))))
}

/// A span as people say it: `11 h 59 min`, `7 min`, `40 s`.
#[must_use]
pub fn span(seconds: i64) -> String {
    let minutes = seconds.max(0) / 60;
    match (minutes / 60, minutes % 60) {
        (0, 0) => format!("{} s", seconds.max(0)),
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

fn in_grams(cg: i64) -> Grams {
    Grams::new(cg as f64 / 100.0).unwrap_or(Grams::of(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_asked_names_what_was_expected_and_what_was_typed() {
        let asked = poured(Some(72.32), 1000).unwrap_err();
        assert_eq!(asked.message, "Expected about 72 g. Record 10 g all the same?");
        assert!(poured(Some(72.32), 7232).is_ok() && poured(None, 1000).is_ok());
        let lost = divested(None, 10_000, 4_000, 2_400).unwrap_err();
        assert!(lost.message.starts_with("36 g of the 100 g that were poured, 36 %,"), "{lost:?}");
        assert!(cut_off(Some(13.78), Some(6_150), 50_000).is_err());
        assert!(cut_off(None, Some(6_150), 50_000).is_err() && cut_off(None, None, 50_000).is_ok());
    }

    #[test]
    fn the_last_tenth_of_a_clock_is_not_asked_about() {
        let began = Moment::default();
        let ends = began.plus_minutes(720);
        let told =
            |minutes| over((began, ends), began.plus_minutes(minutes), "burnout", "why", "Is it?");
        assert_eq!(
            told(1).unwrap_err().message,
            "11 h 59 min of the burnout are left; why. Is it?"
        );
        assert!(told(647).is_err() && told(648).is_ok() && told(800).is_ok());
        assert_eq!(
            (span(40), span(420), span(7200)),
            ("40 s".into(), "7 min".into(), "2 h".into())
        );
    }
}
