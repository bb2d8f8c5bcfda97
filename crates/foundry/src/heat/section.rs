//! A section through the flask at one moment, for a picture in colour.

use super::body::{FlaskBody, Grid};
use super::burnout::Run;
use super::conduction::CellSection;
use super::power::Kiln;
use super::programme::Programme;
use super::refusal::HeatRefusal;
use crate::quantity::{Celsius, Millimetres, Minutes};

/// Half a section through the axis: cells with their edges and temperatures.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Edges of the columns from the axis outwards; the last column is the steel wall, if any.
    pub radii: Vec<Millimetres>,
    /// Edges of the rows from the base upwards.
    pub heights: Vec<Millimetres>,
    /// Temperatures, row by row from the base, each row from the axis outwards.
    temperatures: Vec<Celsius>,
}

impl Section {
    pub(crate) fn new(cells: CellSection) -> Self {
        let in_mm = |edges: Vec<f64>| edges.into_iter().map(|m| Millimetres::of(m * 1000.0));
        Self {
            radii: in_mm(cells.radii_m).collect(),
            heights: in_mm(cells.heights_m).collect(),
            temperatures: cells.t_c.into_iter().map(Celsius::of).collect(),
        }
    }

    /// How many columns there are.
    #[must_use]
    pub fn columns(&self) -> usize {
        self.radii.len().saturating_sub(1)
    }

    /// How many rows there are.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.heights.len().saturating_sub(1)
    }

    /// The temperature of a cell; `None` outside.
    #[must_use]
    pub fn temperature(&self, column: usize, row: usize) -> Option<Celsius> {
        let columns = self.columns();
        (column < columns).then(|| self.temperatures.get(row * columns + column).copied())?
    }

    /// The coldest and the hottest cell; `None` for an empty section.
    #[must_use]
    pub fn range(&self) -> Option<(Celsius, Celsius)> {
        let first = *self.temperatures.first()?;
        let widen = |(low, high): (Celsius, Celsius), t: &Celsius| (low.min(*t), high.max(*t));
        Some(self.temperatures.iter().fold((first, first), widen))
    }
}

/// The temperatures all through the flask at a minute of a firing; after its end, those at the end.
///
/// # Refuses
/// What [`simulate`](super::simulate) refuses.
pub fn section_at(
    body: &FlaskBody,
    programme: &Programme,
    kiln: &Kiln,
    grid: &Grid,
    minute: Minutes,
) -> Result<Section, HeatRefusal> {
    let mut run = Run::new(body, programme, kiln, grid)?;
    let until_s = minute.get() * 60.0;
    while run.now_s < until_s - 1.0e-6 && run.advance(Some(until_s))?.is_some() {}
    Ok(Section::new(run.solver.section()))
}
