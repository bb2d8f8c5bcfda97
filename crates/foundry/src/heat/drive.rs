//! The kiln's temperature through a step: as asked for, or as its power allows.

use super::power::{Behind, Kiln, PoweredKiln};
use super::programme::Programme;
use super::refusal::HeatRefusal;
use crate::quantity::Minutes;

/// How far the kiln may be from its programme before a waiting controller stops the clock, K.
const BAND_K: f64 = 5.0;
/// How long a programme may wait for its kiln in all, s.
const LONGEST_WAIT_S: f64 = 86_400.0;
/// A kiln nearer than this to its programme is not too hot, K.
const SAME_K: f64 = 0.1;
/// Moments closer than this are one, s.
const SAME_MOMENT_S: f64 = 1.0e-6;

/// The controller and the kiln under way.
#[derive(Debug, Clone)]
pub(crate) struct Drive<'a> {
    programme: &'a Programme,
    powered: Option<(PoweredKiln, f64)>,
    /// Where the programme is, s; behind the clock after waiting.
    programme_s: f64,
    kiln_c: f64,
    load_w: f64,
    load_middle_c: f64,
    pub(crate) waited_s: f64,
    /// Of it, how long the kiln was hotter than the programme.
    pub(crate) waited_cooling_s: f64,
    /// How far it fell without power while it was too hot, K, and in how long, s.
    pub(crate) fell: (f64, f64),
}

/// A step as planned.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Plan {
    pub(crate) seconds: f64,
    pub(crate) now_c: f64,
    pub(crate) end_c: f64,
    /// Whether the step ends at a corner of the programme.
    pub(crate) at_corner: bool,
    power_w: f64,
    waits: bool,
}

impl<'a> Drive<'a> {
    pub(crate) fn new(programme: &'a Programme, kiln: &Kiln) -> Result<Self, HeatRefusal> {
        let powered = match *kiln {
            Kiln::Ideal => None,
            Kiln::Powered { kiln, flasks } => {
                kiln.check()?;
                let flasks = super::refusal::within(
                    "the flasks in the kiln",
                    f64::from(flasks),
                    1.0,
                    1000.0,
                    "",
                )?;
                let reached = kiln.hottest_c();
                let wanted = programme.top().get();
                if kiln.behind == Behind::Waits && wanted > reached - 1.0 {
                    return Err(HeatRefusal::KilnCannotReach { reached, wanted });
                }
                Some((kiln, flasks))
            }
        };
        let start_c = programme.start().get();
        Ok(Self {
            programme,
            powered,
            programme_s: 0.0,
            kiln_c: start_c,
            load_w: 0.0,
            load_middle_c: start_c,
            waited_s: 0.0,
            waited_cooling_s: 0.0,
            fell: (0.0, 0.0),
        })
    }

    fn asked_at_c(&self, programme_s: f64) -> f64 {
        self.programme.temperature_at(Minutes::of(programme_s / 60.0)).get()
    }

    pub(crate) fn asked_c(&self) -> f64 {
        self.asked_at_c(self.programme_s)
    }

    pub(crate) fn kiln_c(&self) -> f64 {
        self.kiln_c
    }

    /// Plans a step of at most `longest_s`; `exchange_w_k` is what one flask takes for each
    /// kelvin the kiln is hotter. `None` when the programme is over.
    pub(crate) fn plan(
        &self,
        longest_s: f64,
        exchange_w_k: f64,
    ) -> Result<Option<Plan>, HeatRefusal> {
        let knots = self.programme.knots();
        let next = knots
            .iter()
            .map(|knot| knot.minute.get() * 60.0)
            .find(|corner_s| *corner_s > self.programme_s + SAME_MOMENT_S);
        let Some(corner_s) = next else { return Ok(None) };
        let left_s = corner_s - self.programme_s;
        // A remainder shorter than half a step is taken along, not left as a sliver.
        let at_corner = left_s <= longest_s * 1.000_001;
        let seconds = if at_corner {
            left_s
        } else if left_s < 2.0 * longest_s {
            left_s / 2.0
        } else {
            longest_s
        };
        let now_c = self.kiln_c;
        let Some((kiln, flasks)) = self.powered else {
            let end_s = if at_corner { corner_s } else { self.programme_s + seconds };
            let end_c = self.asked_at_c(end_s);
            let power_w = 0.0;
            return Ok(Some(Plan { seconds, now_c, end_c, at_corner, power_w, waits: false }));
        };
        let behind_k = (self.asked_c() - now_c).abs();
        let waits = kiln.behind == Behind::Waits && behind_k > BAND_K;
        if waits && self.waited_s > LONGEST_WAIT_S {
            let (reached, wanted) = (now_c, self.asked_c());
            return Err(HeatRefusal::KilnCannotReach { reached, wanted });
        }
        let seconds = if waits { longest_s } else { seconds };
        let wanted_c = self.asked_at_c(self.programme_s + if waits { 0.0 } else { seconds });
        // Balance over the step with the mean of both ends; the load is taken to follow the
        // kiln's mean, so that a light kiln with a heavy load stays stable.
        let stored = kiln.stored_j_k() / seconds;
        let load_k = flasks * exchange_w_k;
        let load_w = |end_c: f64| {
            flasks * self.load_w + load_k * ((now_c + end_c) / 2.0 - self.load_middle_c)
        };
        let lost_w = |end_c: f64| kiln.loss_w_k * ((now_c + end_c) / 2.0 - kiln.room.get());
        let needed_w = stored * (wanted_c - now_c) + lost_w(wanted_c) + load_w(wanted_c);
        let power_w = needed_w.clamp(0.0, kiln.power_w);
        let end_c = now_c
            + (power_w - lost_w(now_c) - load_w(now_c)) / (stored + (kiln.loss_w_k + load_k) / 2.0);
        Ok(Some(Plan { seconds, now_c, end_c, at_corner: at_corner && !waits, power_w, waits }))
    }

    /// Books a step: what a flask took decides where the kiln is. Returns the electricity, J.
    pub(crate) fn settle(&mut self, plan: &Plan, taken_j: f64) -> f64 {
        let too_hot = plan.now_c > self.asked_c() + SAME_K;
        if plan.waits {
            self.waited_s += plan.seconds;
            if too_hot {
                self.waited_cooling_s += plan.seconds;
            }
        } else {
            self.programme_s += plan.seconds;
        }
        let Some((kiln, flasks)) = self.powered else {
            self.kiln_c = plan.end_c;
            return 0.0;
        };
        self.load_w = taken_j / plan.seconds;
        self.load_middle_c = (plan.now_c + plan.end_c) / 2.0;
        let stored = kiln.stored_j_k() / plan.seconds;
        let lost_w = kiln.loss_w_k * (plan.now_c - kiln.room.get());
        let rise_k =
            (plan.power_w - lost_w - flasks * self.load_w) / (stored + kiln.loss_w_k / 2.0);
        self.kiln_c = plan.now_c + rise_k;
        if too_hot && plan.power_w <= 0.0 {
            self.fell = (self.fell.0 - rise_k, self.fell.1 + plan.seconds);
        }
        plan.power_w * plan.seconds
    }
}
