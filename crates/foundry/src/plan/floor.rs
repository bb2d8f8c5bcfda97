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
    floors: Vec<Known>,
    patience: pack::Patience,
    diameters_mm: Vec<f64>,
}

/// What is known of one floor.
#[derive(Debug, Clone)]
struct Known {
    floor: pack::Floor,
    answers: HashMap<Box<[u16]>, Option<Layout>>,
    /// Sizes that were packed, none of them within another.
    fitting: Vec<(Box<[u16]>, Layout)>,
    /// Sizes that were not, none of them around another.
    failing: Vec<Box<[u16]>>,
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
            .map(|&(width_mm, depth_mm)| Known {
                floor: pack::Floor {
                    width_mm,
                    depth_mm,
                    between_mm: clearance.flask_mm,
                    wall_mm: clearance.wall_mm,
                },
                answers: HashMap::new(),
                fitting: Vec::new(),
                failing: Vec::new(),
            })
            .collect();
        Self { floors, patience: pack::Patience::SHORT, diameters_mm }
    }

    /// From now on places are looked for longer, also for what was given up before.
    pub(super) fn look_longer(&mut self) {
        self.patience = pack::Patience::LONG;
        for known in &mut self.floors {
            known.failing.clear();
            known.answers.retain(|_, answer| answer.is_some());
        }
    }

    /// Takes over places found elsewhere for flasks of these sizes.
    pub(super) fn learn(&mut self, floor: usize, sizes: &[u16], layout: Layout) {
        self.floors[floor].answers.insert(sizes.into(), Some(layout));
    }

    /// Whether flasks of these sizes, in ascending order of number, were placed on the floor.
    ///
    /// No is not a proof: it says that the search found no places.
    pub(super) fn fit(&mut self, floor: usize, sizes: &[u16]) -> bool {
        match self.floors[floor].answers.get(sizes) {
            Some(known) => known.is_some(),
            None => self.layout(floor, sizes).is_some(),
        }
    }

    /// Places for flasks of these sizes, in ascending order of number.
    pub(super) fn layout(&mut self, floor: usize, sizes: &[u16]) -> Option<Layout> {
        let known = &mut self.floors[floor];
        if let Some(answer) = known.answers.get(sizes) {
            return answer.clone();
        }
        let around = known.fitting.iter().find(|(packed, _)| within(sizes, packed));
        let answer = if let Some((_, layout)) = around {
            Some(Layout::from(&layout[..sizes.len()]))
        } else if known.failing.iter().any(|failed| within(failed, sizes)) {
            None
        } else {
            let diameters: Vec<f64> =
                sizes.iter().map(|&size| self.diameters_mm[usize::from(size)]).collect();
            let packed = known.floor.pack(&diameters, self.patience).map(Layout::from);
            match &packed {
                Some(layout) => {
                    known.fitting.retain(|(smaller, _)| !within(smaller, sizes));
                    known.fitting.push((sizes.into(), layout.clone()));
                }
                None => {
                    known.failing.retain(|larger| !within(sizes, larger));
                    known.failing.push(sizes.into());
                }
            }
            packed
        };
        known.answers.insert(sizes.into(), answer.clone());
        answer
    }
}

/// Whether each of some circles has its own circle at least as large among
/// others; sizes are numbered from the largest and ascending.
fn within(some: &[u16], others: &[u16]) -> bool {
    some.len() <= others.len() && some.iter().zip(others).all(|(one, other)| one >= other)
}
