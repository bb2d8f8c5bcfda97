//! The flask as the heat sees it.

use super::material::{GypsumMix, InvestmentHeat, lookup};
use super::refusal::{HeatRefusal, within};
use crate::quantity::{Celsius, Millimetres, Minutes};
use crate::working::Working;

/// A filled flask: a steel cylinder of investment, with the hollow the tree leaves.
///
/// The pattern's own heat is not counted: what it takes to melt and burn is small beside the water.
#[derive(Debug, Clone, PartialEq)]
pub struct FlaskBody {
    /// Inside diameter of the flask.
    pub inside_diameter: Millimetres,
    /// Height of the investment.
    pub height: Millimetres,
    /// The steel around it; `None` for a bare block of investment.
    pub wall: Option<SteelWall>,
    /// What fills it.
    pub investment: InvestmentHeat,
    /// The hollow left by the tree; `None` counts the flask as solid, which is a little slow.
    pub tree: Option<TreeCavity>,
    /// What it stands on.
    pub base: Base,
    /// How heat crosses its surface.
    pub surface: Surface,
    /// Its temperature when the programme starts.
    pub start: Celsius,
}

/// The steel wall of a flask. Perforations are not counted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SteelWall {
    /// Thickness.
    pub thickness: Millimetres,
    /// Density, kg/m³.
    pub density_kg_m3: f64,
    /// Specific heat, J/(kg·K).
    pub specific_heat_j_kgk: f64,
    /// Conductivity, W/(m·K), which carries heat along the wall.
    pub conductivity_w_mk: f64,
}

impl SteelWall {
    /// Stainless steel of a thickness: 7900 kg/m³, 560 J/(kg·K), 20 W/(m·K), taken between room
    /// temperature and 700 °C (from memory).
    #[must_use]
    pub const fn stainless(thickness: Millimetres) -> Self {
        Self {
            thickness,
            density_kg_m3: 7900.0,
            specific_heat_j_kgk: 560.0,
            conductivity_w_mk: 20.0,
        }
    }
}

/// The hollow of the pattern: a cylinder on the axis of which a share is empty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TreeCavity {
    /// Radius of the space the tree takes.
    pub radius: Millimetres,
    /// Where it begins above the base.
    pub from: Millimetres,
    /// Where it ends above the base.
    pub to: Millimetres,
    /// The share of that space which is pattern, and empty once burnt out.
    pub hollow: f64,
}

/// What the flask stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Base {
    /// An insulating kiln shelf: no heat through the base.
    #[default]
    Shelf,
    /// Supports that let the kiln's heat reach the base as well as the top.
    Raised,
}

/// Convection at a surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Convection {
    /// A constant coefficient, W/(m²·K).
    Constant(f64),
    /// Still air: the coefficient at a difference of 100 K, W/(m²·K), growing with the fourth
    /// root of the difference.
    Still(f64),
}

/// How heat crosses the outer surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surface {
    /// Emissivity, 0 to 1, towards kiln walls at the kiln's temperature.
    pub emissivity: f64,
    /// Convection beside it.
    pub convection: Convection,
}

impl Default for Surface {
    /// Oxidised steel and investment, emissivity 0.85; still air, 8 W/(m²·K) at 100 K (from memory).
    fn default() -> Self {
        Self { emissivity: 0.85, convection: Convection::Still(8.0) }
    }
}

impl FlaskBody {
    /// A flask of gypsum-bonded investment in 1.6 mm stainless steel on a kiln shelf, at 22 °C,
    /// with the working of its investment. Change the fields for anything else.
    pub fn gypsum_bonded(
        inside_diameter: Millimetres,
        height: Millimetres,
        mix: GypsumMix,
    ) -> Result<(Self, Working), HeatRefusal> {
        let investment = InvestmentHeat::gypsum_bonded(mix)?;
        let body = Self {
            inside_diameter,
            height,
            wall: Some(SteelWall::stainless(Millimetres::of(1.6))),
            investment: investment.value,
            tree: None,
            base: Base::Shelf,
            surface: Surface::default(),
            start: Celsius::of(22.0),
        };
        body.check()?;
        Ok((body, investment.working))
    }

    /// Heat stored by the fired flask with its steel, without the hollow of the tree, J/K.
    #[must_use]
    pub fn fired_capacity_j_k(&self) -> f64 {
        let (inside_m, height_m) =
            (self.inside_diameter.get() / 2000.0, self.height.get() / 1000.0);
        let section = std::f64::consts::PI * inside_m * inside_m;
        let hollow_m3 = self.tree.map_or(0.0, |tree| {
            let radius_m = tree.radius.get() / 1000.0;
            let length_m = (tree.to - tree.from).get() / 1000.0;
            std::f64::consts::PI * radius_m * radius_m * length_m * tree.hollow
        });
        let specific_heat = lookup(&self.investment.specific_heat_j_kgk, 500.0);
        let mould_m3 = (section * height_m - hollow_m3).max(0.0);
        let mould = mould_m3 * self.investment.fired_density_kg_m3 * specific_heat;
        let steel = self.wall.map_or(0.0, |wall| {
            let outside_m = inside_m + wall.thickness.get() / 1000.0;
            let ring = std::f64::consts::PI * (outside_m * outside_m - inside_m * inside_m);
            ring * height_m * wall.density_kg_m3 * wall.specific_heat_j_kgk
        });
        mould + steel
    }

    /// Checks that the flask is one the model means something for.
    pub(crate) fn check(&self) -> Result<(), HeatRefusal> {
        within("the flask's diameter", self.inside_diameter.get(), 10.0, 1000.0, "mm")?;
        within("the flask's height", self.height.get(), 10.0, 1500.0, "mm")?;
        within("the flask's start", self.start.get(), -30.0, 1400.0, "°C")?;
        self.investment.check()?;
        if let Some(wall) = self.wall {
            within("the wall's thickness", wall.thickness.get(), 0.1, 30.0, "mm")?;
            within("the wall's density", wall.density_kg_m3, 1000.0, 20000.0, "kg/m³")?;
            within(
                "the wall's specific heat",
                wall.specific_heat_j_kgk,
                100.0,
                2000.0,
                "J/(kg·K)",
            )?;
            within("the wall's conductivity", wall.conductivity_w_mk, 1.0, 500.0, "W/(m·K)")?;
        }
        if let Some(tree) = self.tree {
            within(
                "the tree's radius",
                tree.radius.get(),
                0.0,
                self.inside_diameter.get() / 2.0,
                "mm",
            )?;
            within("the tree's foot", tree.from.get(), 0.0, self.height.get(), "mm")?;
            within("the tree's top", tree.to.get(), tree.from.get(), self.height.get(), "mm")?;
            within("the hollow share of the tree", tree.hollow, 0.0, 0.9, "")?;
        }
        within("the emissivity", self.surface.emissivity, 0.0, 1.0, "")?;
        let (Convection::Constant(h) | Convection::Still(h)) = self.surface.convection;
        within("the convection", h, 0.0, 1.0e7, "W/(m²·K)")?;
        let exchange = h + self.surface.emissivity;
        within("convection and emissivity together", exchange, 1.0e-6, 2.0e7, "")?;
        Ok(())
    }
}

/// How finely the flask and the time are divided.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Cells along the radius.
    pub radial: usize,
    /// Cells along the height; rounded up to a multiple of four.
    pub axial: usize,
    /// The longest time step; steps are shorter after every corner of the programme.
    pub step: Minutes,
    /// How often the curves are written down.
    pub sample: Minutes,
}

impl Default for Grid {
    /// 16 × 24 cells, two-minute steps and samples.
    fn default() -> Self {
        Self { radial: 16, axial: 24, step: Minutes::of(2.0), sample: Minutes::of(2.0) }
    }
}

impl Grid {
    pub(crate) fn check(&self) -> Result<(), HeatRefusal> {
        within("the cells along the radius", self.radial as f64, 4.0, 400.0, "")?;
        within("the cells along the height", self.axial as f64, 4.0, 800.0, "")?;
        within("the time step", self.step.get(), 0.001, 60.0, "min")?;
        within("the sampling interval", self.sample.get(), 0.01, 1440.0, "min")?;
        Ok(())
    }
}
