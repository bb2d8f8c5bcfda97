//! What a kiln's controller is set to between the pours of a load: its programme ends at one
//! temperature, and each flask is cast at its own.

use crate::web::Show;

/// Temperatures nearer than this are one, K.
const SAME_K: f64 = 0.5;

/// What the controller is to be set to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// The temperature of the next flask.
    pub to_c: f64,
    /// How long the kiln takes to cool to it; none where it has to heat.
    pub minutes: Option<i64>,
}

impl Setting {
    /// As it is told: `controller to 480 °C, about 25 min`.
    #[must_use]
    pub fn words(&self, show: &Show) -> String {
        format!("controller to {}", self.figures(show))
    }

    /// The temperature and how long it takes: `480 °C, about 25 min`.
    #[must_use]
    pub fn figures(&self, show: &Show) -> String {
        let to = show.celsius(self.to_c).plain_text();
        match self.minutes {
            Some(minutes) => format!("{to}, about {}", show.span(minutes as f64)),
            None => format!("{to}, and wait until it is there"),
        }
    }
}

/// What the controller is to be set to before each of a load's pours, in their order; none where
/// it stands there already. The kiln is at a temperature before the first, and takes so many
/// minutes to cool by 100 K: by the same rule pours are planned apart.
#[must_use]
pub fn settings(
    kiln_c: f64,
    flasks_c: impl IntoIterator<Item = f64>,
    cool_min_per_100c: i32,
) -> Vec<Option<Setting>> {
    let mut at_c = kiln_c;
    flasks_c
        .into_iter()
        .map(|to_c| {
            let falls = at_c - to_c;
            at_c = to_c;
            let minutes = (falls * f64::from(cool_min_per_100c) / 100.0).ceil() as i64;
            (falls.abs() > SAME_K)
                .then(|| Setting { to_c, minutes: (falls > 0.0).then_some(minutes) })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_controller_goes_down_from_flask_to_flask() {
        // 60 min for 100 K: 24.1 min for 40.2 K, rounded up, and 18 for 30.
        let set = settings(520.0, [520.0, 520.2, 480.0, 450.0], 60);
        let down = |to_c, minutes| Some(Setting { to_c, minutes: Some(minutes) });
        assert_eq!(set, [None, None, down(480.0, 25), down(450.0, 18)]);
        // The first flask may be colder than the programme's end, or hotter.
        assert_eq!(settings(520.0, [500.0], 60), [down(500.0, 12)]);
        assert_eq!(settings(520.0, [560.0], 60), [Some(Setting { to_c: 560.0, minutes: None })]);
    }
}
