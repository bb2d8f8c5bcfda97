//! Flasks on a kiln's floor: circles of several sizes in a rectangle.

mod pack;

use std::collections::HashMap;
use std::sync::Arc;

use super::problem::Clearance;

/// Centres of circles, in the order in which their sizes were given.
pub(super) type Layout = Arc<[(f64, f64)]>;

/// Answers whether flasks fit on floors, and remembers.
#[derive(Debug, Clone)]
pub(super) struct Floors {
    floors: Vec<pack::Floor>,
    diameters_mm: Vec<f64>,
    known: HashMap<(usize, Box<[u16]>), Option<Layout>>,
}

impl Floors {
    /// Floors of these widths and depths for flasks of these diameters, which
    /// are numbered from the largest, number 0.
    pub(super) fn new(
        floors_mm: &[(f64, f64)],
        diameters_mm: Vec<f64>,
        clearance: Clearance,
    ) -> Self {
        let floors = floors_mm
            .iter()
            .map(|&(width_mm, depth_mm)| pack::Floor {
                width_mm,
                depth_mm,
                between_mm: clearance.flask_mm,
                wall_mm: clearance.wall_mm,
            })
            .collect();
        Self { floors, diameters_mm, known: HashMap::new() }
    }

    /// Whether flasks of these sizes, in ascending order of number, were placed on the floor.
    ///
    /// No is not a proof: it says that the search found no place.
    pub(super) fn fit(&mut self, floor: usize, sizes: &[u16]) -> bool {
        self.layout(floor, sizes).is_some()
    }

    /// Places for flasks of these sizes, in ascending order of number.
    pub(super) fn layout(&mut self, floor: usize, sizes: &[u16]) -> Option<Layout> {
        // The key is built only when the answer is new: most questions repeat.
        if let Some(known) = self.known.get(&(floor, sizes.into())) {
            return known.clone();
        }
        let diameters: Vec<f64> =
            sizes.iter().map(|&size| self.diameters_mm[usize::from(size)]).collect();
        let found = self.floors[floor].pack(&diameters).map(Layout::from);
        self.known.insert((floor, sizes.into()), found.clone());
        found
    }
}
