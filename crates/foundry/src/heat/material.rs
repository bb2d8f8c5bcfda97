//! What heat does to investment: capacity, conduction, water and gypsum.

use super::refusal::{HeatRefusal, within};
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

/// Heat taken up by a change of the investment, spread over a range of temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct Reaction {
    /// What changes.
    pub name: &'static str,
    /// Where it begins, in °C.
    pub from_c: f64,
    /// Where it is finished, in °C.
    pub to_c: f64,
    /// Heat per volume of mould, in J/m³.
    pub heat_j_m3: f64,
}

/// The thermal properties of a mould, per volume of set investment.
///
/// Tables are points `(°C, value)` in rising order, straight between them and constant beyond.
///
/// # Assumes
/// Vapour leaves the mould at once and carries no heat further. A cell that has passed the last
/// reaction stays fired; one that cools before that takes its water back.
#[derive(Debug, Clone, PartialEq)]
pub struct InvestmentHeat {
    /// Density once fired, in kg/m³.
    pub fired_density_kg_m3: f64,
    /// Specific heat of the fired mould, J/(kg·K).
    pub specific_heat_j_kgk: Vec<(f64, f64)>,
    /// Conductivity of the fired or dry mould, W/(m·K).
    pub conductivity_w_mk: Vec<(f64, f64)>,
    /// Conductivity while free water fills the pores; `None` takes the dry value, which is slow
    /// and so the cautious choice.
    pub wet_conductivity_w_mk: Option<f64>,
    /// Free water, in kg/m³; it warms with the mould and boils at 100 °C.
    pub free_water_kg_m3: f64,
    /// What takes up heat beside the free water.
    pub reactions: Vec<Reaction>,
}

/// Specific heat of water, J/(kg·K). Source: from memory, the usual handbook figure near 25 °C.
pub(crate) const WATER_SPECIFIC_HEAT: f64 = 4180.0;
/// Heat of evaporation of water at 100 °C, J/kg. Source: from memory, steam tables.
pub(crate) const WATER_EVAPORATION: f64 = 2.257e6;
/// Width over which free water boils in the model, in kelvins; a numerical choice.
const BOILING_WIDTH_K: f64 = 1.0;
/// Where free water boils, in °C, at sea level.
pub(crate) const BOILING_C: f64 = 100.0;

/// A mix of a gypsum-bonded powder with water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GypsumMix {
    /// True density of the powder, g/cm³.
    pub powder_density_g_cm3: f64,
    /// Grams of water to 100 g of powder.
    pub water_per_100: f64,
    /// Share of hemihydrate, the binder, in the powder.
    pub hemihydrate: f64,
}

impl Default for GypsumMix {
    fn default() -> Self {
        Self { powder_density_g_cm3: 2.5, water_per_100: 40.0, hemihydrate: 0.28 }
    }
}

/// Molar masses, g/mol: CaSO4·½H2O and H2O, after IUPAC's abridged standard atomic weights.
const HEMIHYDRATE_G_MOL: f64 = 145.148;
const GYPSUM_G_MOL: f64 = 172.171;
const WATER_G_MOL: f64 = 18.0153;
/// Heat of each step of drying per kilogram of gypsum, J/kg, from the standard enthalpies of
/// formation of gypsum, β-hemihydrate, soluble anhydrite and steam (from memory).
const TO_HEMIHYDRATE_J_KG: f64 = 495.0e3;
const TO_ANHYDRITE_J_KG: f64 = 165.0e3;

impl InvestmentHeat {
    /// The heat of a gypsum-bonded mould from its mix.
    ///
    /// # Units
    /// Per cubic metre of slurry; the mould keeps the slurry's volume.
    ///
    /// # Source
    /// Water of setting from the molar masses. Heats of drying 495 and 165 kJ per kg gypsum, from
    /// enthalpies of formation (from memory); Strydom et al., Thermochimica Acta 269 (1995) 631,
    /// measured 377 to 420 J/g on impure gypsum, most of it between 95 and 170 °C. Conductivity
    /// 0.45 W/(m·K), specific heat 1000 J/(kg·K): no measured value for jewellery investment was
    /// found; the porosity law of Xu, Lekakh and Richards (2013) gives 0.45 for half pores and a
    /// solid of 2 W/(m·K). The rise above 600 °C follows Park et al., Fire and Materials 34 (2010)
    /// 237, in kind; its size is assumed.
    ///
    /// # Accuracy
    /// Published conductivities run from 0.3 to 0.6 W/(m·K), which moves the core's times by a
    /// factor of two. Fit it to one thermocouple in a flask.
    ///
    /// # Refuses
    /// Powder density outside 1.5 to 4 g/cm³, water outside 20 to 70 per 100, a binder share
    /// outside 0 to 0.6.
    pub fn gypsum_bonded(mix: GypsumMix) -> Result<Worked<Self>, HeatRefusal> {
        let density =
            within("the powder's true density", mix.powder_density_g_cm3, 1.5, 4.0, "g/cm³")?;
        let water =
            within("the water", mix.water_per_100, 20.0, 70.0, "g per 100 g of powder")? / 100.0;
        let binder = within("the hemihydrate", mix.hemihydrate, 0.0, 0.6, "of the powder")?;
        let powder = 1000.0 / (1.0 / density + water);
        let hemihydrate = powder * binder;
        let bound = hemihydrate * 1.5 * WATER_G_MOL / HEMIHYDRATE_G_MOL;
        let gypsum = hemihydrate * GYPSUM_G_MOL / HEMIHYDRATE_G_MOL;
        let fired = powder - hemihydrate * 0.5 * WATER_G_MOL / HEMIHYDRATE_G_MOL;
        let free = powder * water - bound;
        let value = Self {
            fired_density_kg_m3: fired,
            specific_heat_j_kgk: vec![(20.0, 1000.0)],
            conductivity_w_mk: vec![(600.0, 0.45), (800.0, 0.55)],
            wet_conductivity_w_mk: None,
            free_water_kg_m3: free.max(0.0),
            reactions: vec![
                Reaction {
                    name: "gypsum to hemihydrate",
                    from_c: 105.0,
                    to_c: 135.0,
                    heat_j_m3: gypsum * TO_HEMIHYDRATE_J_KG,
                },
                Reaction {
                    name: "hemihydrate to anhydrite",
                    from_c: 135.0,
                    to_c: 170.0,
                    heat_j_m3: gypsum * TO_ANHYDRITE_J_KG,
                },
            ],
        };
        let mut working = Working::default();
        working.step(
            "powder per volume = 1000 / (1/true density + water/100)",
            vec![
                Figure::real("true density", density, "g/cm³", Source::Entered),
                Figure::real("water", mix.water_per_100, "g per 100 g", Source::Entered),
            ],
            Figure::real("powder per volume", powder, "kg/m³", Source::Computed),
        );
        working.step(
            "water bound on setting = powder × hemihydrate × 1.5 × M(H2O) / M(CaSO4·½H2O)",
            vec![
                Figure::real("hemihydrate", binder, "of the powder", Source::Entered),
                Figure::real("M(H2O)", WATER_G_MOL, "g/mol", molar()),
                Figure::real("M(CaSO4·½H2O)", HEMIHYDRATE_G_MOL, "g/mol", molar()),
            ],
            Figure::real("water bound on setting", bound, "kg/m³", Source::Computed),
        );
        working.step(
            "free water = powder × water/100 − water bound on setting",
            vec![],
            Figure::real("free water", value.free_water_kg_m3, "kg/m³", Source::Computed),
        );
        working.step(
            "heat to boil it off = free water × heat of evaporation",
            vec![Figure::real(
                "heat of evaporation",
                WATER_EVAPORATION,
                "J/kg",
                Source::FromMemory,
            )],
            Figure::real("heat to boil it off", free * WATER_EVAPORATION, "J/m³", Source::Computed),
        );
        working.step(
            "heat to dry the gypsum = gypsum × (495 + 165) kJ/kg",
            vec![Figure::real("gypsum", gypsum, "kg/m³", Source::Computed)],
            Figure::real(
                "heat to dry the gypsum",
                gypsum * (TO_HEMIHYDRATE_J_KG + TO_ANHYDRITE_J_KG),
                "J/m³",
                Source::FromMemory,
            ),
        );
        working.warn(
            "The conductivity of fired investment is taken as 0.45 W/(m·K); published figures run \
             from 0.3 to 0.6, which moves the core's times by a factor of two. One run with a \
             thermocouple in a flask settles it.",
        );
        Ok(Worked { value, working })
    }

    /// A mould of constant properties without water or gypsum.
    #[must_use]
    pub fn dry(density_kg_m3: f64, specific_heat_j_kgk: f64, conductivity_w_mk: f64) -> Self {
        Self {
            fired_density_kg_m3: density_kg_m3,
            specific_heat_j_kgk: vec![(20.0, specific_heat_j_kgk)],
            conductivity_w_mk: vec![(20.0, conductivity_w_mk)],
            wet_conductivity_w_mk: None,
            free_water_kg_m3: 0.0,
            reactions: Vec::new(),
        }
    }

    /// Checks every property against the range in which the model means something.
    pub(crate) fn check(&self) -> Result<(), HeatRefusal> {
        within("the fired density", self.fired_density_kg_m3, 100.0, 6000.0, "kg/m³")?;
        within("the free water", self.free_water_kg_m3, 0.0, 1000.0, "kg/m³")?;
        check_table("specific heat", &self.specific_heat_j_kgk, 100.0, 5000.0, "J/(kg·K)")?;
        check_table("conductivity", &self.conductivity_w_mk, 0.01, 500.0, "W/(m·K)")?;
        if let Some(wet) = self.wet_conductivity_w_mk {
            within("the wet conductivity", wet, 0.01, 500.0, "W/(m·K)")?;
        }
        for reaction in &self.reactions {
            within("the heat of a reaction", reaction.heat_j_m3, 0.0, 1.0e10, "J/m³")?;
            within("the start of a reaction", reaction.from_c, -50.0, 1400.0, "°C")?;
            let widest = 1500.0 - reaction.from_c;
            within("the width of a reaction", reaction.to_c - reaction.from_c, 0.01, widest, "K")?;
        }
        if self.reactions.len() > 8 {
            return Err(HeatRefusal::BadTable { what: "reactions (at most eight)" });
        }
        Ok(())
    }

    /// Enthalpy of the fired mould, J/m³ from 0 °C, as corners `(°C, J/m³)`.
    pub(crate) fn fired_enthalpy(&self) -> Vec<(f64, f64)> {
        self.enthalpy(&[], 0.0)
    }

    /// Enthalpy of the mould as set, with its water and gypsum; parallel to the fired one above
    /// the last reaction. `None` when it has neither.
    pub(crate) fn set_enthalpy(&self) -> Option<Vec<(f64, f64)>> {
        if self.free_water_kg_m3 <= 0.0 && self.reactions.is_empty() {
            return None;
        }
        let mut reactions = self.reactions.clone();
        if self.free_water_kg_m3 > 0.0 {
            reactions.push(Reaction {
                name: "free water boils",
                from_c: BOILING_C,
                to_c: BOILING_C + BOILING_WIDTH_K,
                heat_j_m3: self.free_water_kg_m3 * WATER_EVAPORATION,
            });
        }
        Some(self.enthalpy(&reactions, self.free_water_kg_m3 * WATER_SPECIFIC_HEAT))
    }

    /// Where the last reaction is finished, °C; the mould counts as fired above.
    pub(crate) fn fired_from_c(&self) -> f64 {
        let boiled = if self.free_water_kg_m3 > 0.0 { BOILING_C + BOILING_WIDTH_K } else { -1.0e3 };
        self.reactions.iter().fold(boiled, |last, reaction| last.max(reaction.to_c))
    }

    fn enthalpy(&self, reactions: &[Reaction], water_j_m3k: f64) -> Vec<(f64, f64)> {
        let mut corners = vec![0.0];
        if self.specific_heat_j_kgk.len() > 1 {
            // The capacity is straight between its points; chords this short follow its integral
            // within a thousandth of the change.
            let (first, last) = ends(&self.specific_heat_j_kgk);
            corners.extend(self.specific_heat_j_kgk.iter().map(|point| point.0));
            let pieces = ((last - first) / 50.0).ceil().clamp(1.0, 40.0);
            corners
                .extend((0..=pieces as usize).map(|n| first + (last - first) * n as f64 / pieces));
        }
        for reaction in reactions {
            corners.extend([reaction.from_c, reaction.to_c]);
        }
        if water_j_m3k > 0.0 {
            corners.push(BOILING_C);
        }
        corners.push(1500.0);
        corners.sort_by(f64::total_cmp);
        corners.dedup_by(|a, b| (*a - *b).abs() < 1.0e-9);
        let total = |t: f64| {
            let sensible = self.fired_density_kg_m3 * integral(&self.specific_heat_j_kgk, t);
            let water = water_j_m3k * t.min(BOILING_C);
            let changes: f64 = reactions
                .iter()
                .map(|r| r.heat_j_m3 * ((t - r.from_c) / (r.to_c - r.from_c)).clamp(0.0, 1.0))
                .sum();
            sensible + water + changes
        };
        corners.into_iter().map(|t| (t, total(t))).collect()
    }
}

fn molar() -> Source {
    Source::Published("IUPAC, Standard atomic weights, abridged to five digits, 2021".into())
}

fn ends(table: &[(f64, f64)]) -> (f64, f64) {
    (table[0].0, table[table.len() - 1].0)
}

fn check_table(
    what: &'static str,
    table: &[(f64, f64)],
    least: f64,
    greatest: f64,
    unit: &'static str,
) -> Result<(), HeatRefusal> {
    let rising = table.windows(2).all(|pair| pair[0].0 < pair[1].0);
    let known = table.iter().all(|point| point.0.is_finite());
    if table.is_empty() || table.len() > 32 || !rising || !known {
        return Err(HeatRefusal::BadTable { what });
    }
    for point in table {
        within(what, point.1, least, greatest, unit)?;
    }
    Ok(())
}

/// The value of a table at a temperature.
pub(crate) fn lookup(table: &[(f64, f64)], t: f64) -> f64 {
    let next = table.partition_point(|point| point.0 <= t);
    match (next.checked_sub(1).map(|last| table[last]), table.get(next)) {
        (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (t - a.0) / (b.0 - a.0),
        (Some(a), None) => a.1,
        (None, Some(b)) => b.1,
        (None, None) => 0.0,
    }
}

/// The integral of a table from 0 °C to a temperature.
fn integral(table: &[(f64, f64)], t: f64) -> f64 {
    let from_first = |t: f64| {
        let mut sum = 0.0;
        let mut last = table[0];
        if t <= last.0 {
            return (t - last.0) * last.1;
        }
        for point in &table[1..] {
            let to = t.min(point.0);
            if to > last.0 {
                sum += (to - last.0) * (last.1 + lookup(table, to)) / 2.0;
            }
            last = *point;
        }
        sum + (t - last.0).max(0.0) * last.1
    };
    from_first(t) - from_first(0.0)
}
