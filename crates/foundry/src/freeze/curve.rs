//! Heat content of a metal against temperature, with the latent heat spread
//! over the freezing range.

/// A corner of the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Knot {
    /// Temperature above the mould's starting temperature, in kelvins.
    above_k: f64,
    /// Heat content in J/m³, zero at the first knot.
    heat_j_m3: f64,
    /// Share of liquid, by mass.
    liquid: f64,
}

/// Piecewise linear, rising curve of heat content; level pieces of temperature are allowed.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct HeatCurve {
    knots: Vec<Knot>,
    solid_j_m3k: f64,
    liquid_j_m3k: f64,
}

/// What a heat balance settles to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Settled {
    /// Temperature above the mould's starting temperature, in kelvins.
    pub above_k: f64,
    /// Share of liquid.
    pub liquid: f64,
}

/// Thermal numbers of one metal, already chosen from their ranges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CurveInput {
    pub solidus_k: f64,
    pub liquidus_k: f64,
    /// Melting point of the main metal, for the lever rule; `None` releases the heat evenly.
    pub solvent_k: Option<f64>,
    pub density_kg_m3: f64,
    pub latent_j_kg: f64,
    pub solid_j_kgk: f64,
    pub liquid_j_kgk: f64,
}

/// Straight pieces into which the freezing range is cut.
const PIECES: usize = 8;

impl HeatCurve {
    /// Builds the curve; temperatures count from the mould's starting temperature.
    ///
    /// With a solvent the solid share follows the lever rule for straight
    /// liquidus and solidus lines: fs = (Tl − T)/(Tm − T) · (Tm − Ts)/(Tl − Ts).
    pub(super) fn new(input: CurveInput) -> Self {
        let latent = input.density_kg_m3 * input.latent_j_kg;
        let solid_j_m3k = input.density_kg_m3 * input.solid_j_kgk;
        let liquid_j_m3k = input.density_kg_m3 * input.liquid_j_kgk;
        let (low, high) = (input.solidus_k, input.liquidus_k);
        let range = high - low;
        let pieces = if range > 1e-9 { PIECES } else { 1 };
        let mut knots = Vec::with_capacity(pieces + 1);
        let mut sensible = 0.0;
        let mut last: Option<(f64, f64)> = None;
        for piece in 0..=pieces {
            let share = piece as f64 / pieces as f64;
            let above_k = low + range * share;
            let liquid = match input.solvent_k {
                Some(solvent) if range > 1e-9 && solvent > high => {
                    1.0 - (high - above_k) / (solvent - above_k) * (solvent - low) / range
                }
                _ => share,
            };
            if let Some((t, l)) = last {
                let mean = 0.5 * (l + liquid);
                sensible += (above_k - t) * (solid_j_m3k * (1.0 - mean) + liquid_j_m3k * mean);
            }
            last = Some((above_k, liquid));
            knots.push(Knot { above_k, heat_j_m3: sensible + latent * liquid, liquid });
        }
        Self { knots, solid_j_m3k, liquid_j_m3k }
    }

    /// Heat content at a temperature, J/m³; on a level piece, the liquid end.
    pub(super) fn heat_j_m3(&self, above_k: f64) -> f64 {
        let first = self.knots[0];
        let last = self.knots[self.knots.len() - 1];
        if above_k >= last.above_k {
            return last.heat_j_m3 + (above_k - last.above_k) * self.liquid_j_m3k;
        }
        if above_k < first.above_k {
            return first.heat_j_m3 + (above_k - first.above_k) * self.solid_j_m3k;
        }
        let k = self.knots.partition_point(|knot| knot.above_k <= above_k) - 1;
        let (a, b) = (self.knots[k], self.knots[k + 1]);
        a.heat_j_m3 + (above_k - a.above_k) / (b.above_k - a.above_k) * (b.heat_j_m3 - a.heat_j_m3)
    }

    /// Heat content at a share of liquid from 0 to 1, J/m³.
    pub(super) fn heat_at_liquid_j_m3(&self, liquid: f64) -> f64 {
        let k = self.knots.partition_point(|knot| knot.liquid < liquid).max(1);
        let (a, b) = (self.knots[k - 1], self.knots[k.min(self.knots.len() - 1)]);
        let share = (liquid - a.liquid) / (b.liquid - a.liquid).max(1e-12);
        a.heat_j_m3 + share.clamp(0.0, 1.0) * (b.heat_j_m3 - a.heat_j_m3)
    }

    /// The temperature at which `slope·T + volume·heat(T) = sum`.
    ///
    /// The left side rises strictly wherever `slope > 0`, and on level pieces
    /// the heat content takes up the difference, so there is one answer.
    pub(super) fn settle(&self, slope_j_k: f64, volume_m3: f64, sum_j: f64) -> Settled {
        let at = |k: &Knot| slope_j_k * k.above_k + volume_m3 * k.heat_j_m3;
        let first = &self.knots[0];
        let mut below = at(first);
        if sum_j < below {
            let rise = slope_j_k + volume_m3 * self.solid_j_m3k;
            return Settled { above_k: first.above_k - (below - sum_j) / rise, liquid: 0.0 };
        }
        let mut from = first;
        for knot in &self.knots[1..] {
            let here = at(knot);
            if sum_j < here {
                let share = (sum_j - below) / (here - below);
                return Settled {
                    above_k: from.above_k + share * (knot.above_k - from.above_k),
                    liquid: from.liquid + share * (knot.liquid - from.liquid),
                };
            }
            below = here;
            from = knot;
        }
        let rise = slope_j_k + volume_m3 * self.liquid_j_m3k;
        Settled { above_k: from.above_k + (sum_j - below) / rise, liquid: 1.0 }
    }

    /// Heat content at a temperature on a piece counted from the solid on, J/m³, and how fast it
    /// rises there, J/(m³·K); `None` on a level piece, where the temperature does not tell it.
    pub(super) fn on_piece(&self, above_k: f64, piece: u8) -> Option<(f64, f64)> {
        let k = usize::from(piece);
        let (from, rise) = match (k.checked_sub(1).map(|low| self.knots[low]), self.knots.get(k)) {
            (Some(low), Some(high)) => {
                let width = high.above_k - low.above_k;
                let rise = (width > 0.0).then(|| (high.heat_j_m3 - low.heat_j_m3) / width)?;
                (low, rise)
            }
            (None, Some(high)) => (*high, self.solid_j_m3k),
            (Some(low), None) => (low, self.liquid_j_m3k),
            (None, None) => return None,
        };
        Some((from.heat_j_m3 + (above_k - from.above_k) * rise, rise))
    }

    /// The temperature of [`settle`](Self::settle), looked for first on the piece of the curve
    /// where it was found last; `piece` counts pieces from the solid on, and is moved along.
    #[inline]
    pub(super) fn settle_near(
        &self,
        slope_j_k: f64,
        volume_m3: f64,
        sum_j: f64,
        piece: &mut u8,
    ) -> f64 {
        let at = |k: &Knot| slope_j_k * k.above_k + volume_m3 * k.heat_j_m3;
        let mut k = usize::from(*piece).min(self.knots.len());
        loop {
            // Piece k lies between knots k − 1 and k; the first and the last have one end.
            let low = k.checked_sub(1).map(|low| &self.knots[low]);
            let high = self.knots.get(k);
            let (below, above) = (low.map(at), high.map(at));
            if below.is_some_and(|below| sum_j < below) {
                k -= 1;
                continue;
            }
            if above.is_some_and(|above| sum_j >= above) {
                k += 1;
                continue;
            }
            *piece = k as u8;
            return match (low.zip(below), high.zip(above)) {
                (Some((low, below)), Some((high, above))) => {
                    let share = (sum_j - below) / (above - below);
                    low.above_k + share * (high.above_k - low.above_k)
                }
                (None, Some((high, above))) => {
                    high.above_k - (above - sum_j) / (slope_j_k + volume_m3 * self.solid_j_m3k)
                }
                (Some((low, below)), None) => {
                    low.above_k + (sum_j - below) / (slope_j_k + volume_m3 * self.liquid_j_m3k)
                }
                (None, None) => f64::NAN,
            };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BRONZE: CurveInput = CurveInput {
        solidus_k: 283.0,
        liquidus_k: 433.0,
        solvent_k: Some(546.6),
        density_kg_m3: 7500.0,
        latent_j_kg: 250e3,
        solid_j_kgk: 450.0,
        liquid_j_kgk: 500.0,
    };

    #[test]
    fn settling_finds_the_temperature_whose_heat_was_put_in() {
        for input in [BRONZE, CurveInput { solidus_k: 433.0, ..BRONZE }] {
            let curve = HeatCurve::new(input);
            for above in [0.0, 100.0, 282.0, 300.0, 400.0, 432.0, 434.0, 600.0] {
                let heat = curve.heat_j_m3(above);
                let settled = curve.settle(0.0, 2.0, 2.0 * heat);
                assert!((settled.above_k - above).abs() < 1e-6, "{above}: {settled:?}");
                let with_slope = curve.settle(3.0e5, 1.0, 3.0e5 * above + heat);
                assert!((with_slope.above_k - above).abs() < 1e-6);
            }
        }
    }

    #[test]
    fn from_any_piece_the_same_temperature_is_found() {
        for input in [BRONZE, CurveInput { solidus_k: 433.0, ..BRONZE }] {
            let curve = HeatCurve::new(input);
            for sum in [-1e8, 0.0, 1e8, 5e8, 1e9, 1.9e9, 2.2e9, 5e9] {
                for from in 0..=12 {
                    for slope in [0.0, 3e5] {
                        let mut piece = from;
                        let found = curve.settle_near(slope, 1.0, sum, &mut piece);
                        let known = curve.settle(slope, 1.0, sum).above_k;
                        assert!((found - known).abs() < 1e-9, "{sum} from {from}");
                        assert_eq!(curve.settle_near(slope, 1.0, sum, &mut piece), found);
                    }
                }
            }
        }
    }

    #[test]
    fn the_lever_rule_starts_freezing_faster_than_it_ends() {
        let curve = HeatCurve::new(BRONZE);
        let middle = curve.settle(0.0, 1.0, curve.heat_j_m3(358.0));
        let straight = HeatCurve::new(CurveInput { solvent_k: None, ..BRONZE });
        let even = straight.settle(0.0, 1.0, straight.heat_j_m3(358.0));
        assert!((even.liquid - 0.5).abs() < 1e-9);
        // By hand: fs = 75/188.6 · 263.6/150 = 0.6988.
        assert!((middle.liquid - 0.3012).abs() < 5e-4, "{}", middle.liquid);
    }

    #[test]
    fn a_pure_metal_takes_up_its_latent_heat_at_one_temperature() {
        let curve = HeatCurve::new(CurveInput { solidus_k: 433.0, ..BRONZE });
        let latent = 7500.0 * 250e3;
        let half = curve.settle(0.0, 1.0, 0.5 * latent);
        assert_eq!(half.above_k, 433.0);
        assert!((half.liquid - 0.5).abs() < 1e-12);
    }
}
