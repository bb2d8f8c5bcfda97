//! The box of voxels.

use super::refusal::{FreezeRefusal, within};

/// Most voxels in one calculation: about 1 GB of working memory.
pub const MOST_VOXELS: usize = 40_000_000;

/// A box of equal cubes, aligned with the model's axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Corner with the smallest coordinates, in millimetres.
    pub origin_mm: [f64; 3],
    /// Number of cubes along each axis.
    pub counts: [usize; 3],
    /// Edge of a cube, in millimetres.
    pub pitch_mm: f64,
}

impl Grid {
    /// A box given by its corner; for parts of a model, such as a strip through a plate.
    ///
    /// # Refuses
    /// No cubes, too many cubes, or a pitch outside 0.01 to 20 mm.
    pub fn new(
        origin_mm: [f64; 3],
        counts: [usize; 3],
        pitch_mm: f64,
    ) -> Result<Self, FreezeRefusal> {
        within("the pitch", "mm", pitch_mm, 0.01, 20.0)?;
        for axis in origin_mm {
            within("a corner of the box", "mm", axis, -1e6, 1e6)?;
        }
        let voxels = counts.iter().fold(1_usize, |n, &c| n.saturating_mul(c));
        if voxels == 0 {
            return Err(FreezeRefusal::NoMetal { pitch_mm });
        }
        if voxels > MOST_VOXELS {
            return Err(FreezeRefusal::TooFine { pitch_mm, voxels, most: MOST_VOXELS });
        }
        Ok(Self { origin_mm, counts, pitch_mm })
    }

    /// The box around `low` to `high` with a margin, centred so that a turned model gets a turned box.
    pub fn around(
        low_mm: [f64; 3],
        high_mm: [f64; 3],
        margin_mm: f64,
        pitch_mm: f64,
    ) -> Result<Self, FreezeRefusal> {
        within("the pitch", "mm", pitch_mm, 0.01, 20.0)?;
        within("the margin", "mm", margin_mm, 0.0, 500.0)?;
        let mut origin_mm = [0.0; 3];
        let mut counts = [0; 3];
        for axis in 0..3 {
            let length = high_mm[axis] - low_mm[axis] + 2.0 * margin_mm;
            within("the size of the model with its margin", "mm", length, 0.0, 5000.0)?;
            counts[axis] = ((length / pitch_mm - 1e-9).ceil() as usize).max(1);
            origin_mm[axis] =
                0.5 * (low_mm[axis] + high_mm[axis]) - 0.5 * counts[axis] as f64 * pitch_mm;
        }
        Self::new(origin_mm, counts, pitch_mm)
    }

    /// Number of cubes.
    #[must_use]
    pub fn len(&self) -> usize {
        self.counts.iter().product()
    }

    /// Never true: a box has at least one cube.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Steps in the flat array for one cube along each axis; x runs fastest.
    #[must_use]
    pub fn strides(&self) -> [usize; 3] {
        [1, self.counts[0], self.counts[0] * self.counts[1]]
    }

    /// Place of a cube in the flat array.
    #[must_use]
    pub fn index(&self, cell: [usize; 3]) -> usize {
        cell[0] + self.counts[0] * (cell[1] + self.counts[1] * cell[2])
    }

    /// The cube at a place in the flat array.
    #[must_use]
    pub fn cell(&self, index: usize) -> [usize; 3] {
        let row = index / self.counts[0];
        [index % self.counts[0], row % self.counts[1], row / self.counts[1]]
    }

    /// Centre of a cube, in millimetres.
    #[must_use]
    pub fn centre_mm(&self, index: usize) -> [f64; 3] {
        let cell = self.cell(index);
        std::array::from_fn(|a| self.origin_mm[a] + (cell[a] as f64 + 0.5) * self.pitch_mm)
    }

    /// Volume of a cube, in cubic millimetres.
    #[must_use]
    pub fn voxel_mm3(&self) -> f64 {
        self.pitch_mm.powi(3)
    }
}
