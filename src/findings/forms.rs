//! What is told, and where somebody pointed.

use super::looks::{LOOKS, SHOWN_PIXELS};
use crate::web::Form;

/// A place on a picture, in shares of its sides from the upper left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pointed {
    pub(super) look: &'static str,
    pub(super) x: f64,
    pub(super) y: f64,
}

/// A finding as told.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Told {
    pub(super) what: String,
    pub(super) place: String,
    pub(super) to_mend: bool,
    pub(super) pointed: Option<Pointed>,
}

impl Told {
    /// Reads the form; `None` after noting at each field what is wrong with it. A picture that
    /// was clicked sends the place under its name.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let mut what = form.line("what", 200);
        if what.is_empty() {
            what = form.value("known").trim().chars().take(200).collect();
        }
        if what.is_empty() {
            form.wrong("what", "Say what it looks like, then point at it again.");
        }
        let place = form.line("place", 200);
        let to_mend = form.value("then") != "failure";
        let pointed = LOOKS.iter().find_map(|(look, _)| {
            let side = |axis: &str| form.value(&format!("{look}.{axis}")).parse::<f64>().ok();
            let share = |pixels: f64| (pixels / f64::from(SHOWN_PIXELS)).clamp(0.0, 1.0);
            let (x, y) = (side("x")?, side("y")?);
            (x.is_finite() && y.is_finite()).then(|| Pointed { look, x: share(x), y: share(y) })
        });
        form.good().then_some(Self { what, place, to_mend, pointed })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_click_on_a_picture_is_a_place_on_it() {
        let mut form = Form::parse(b"what=gas+porosity&then=mend&right.x=75&right.y=300");
        let told = Told::read(&mut form).unwrap();
        assert_eq!(told.pointed, Some(Pointed { look: "right", x: 0.25, y: 1.0 }));
        assert!(told.to_mend);
        let mut form = Form::parse(b"known=fins&then=failure&right.x=no");
        let told = Told::read(&mut form).unwrap();
        assert_eq!((told.what.as_str(), told.pointed, told.to_mend), ("fins", None, false));
        let mut form = Form::parse(b"what=&right.x=1&right.y=1");
        assert!(Told::read(&mut form).is_none() && form.error("what").is_some());
    }
}
