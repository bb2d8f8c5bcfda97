//! The cubes that are stepped implicitly, and what joins them.

use super::voxels::Voxels;

/// In place of a neighbour's number: plain mould, stepped explicitly.
pub(super) const PLAIN: u32 = u32::MAX;
/// In place of a neighbour's number: the box ends here.
pub(super) const NONE: u32 = u32::MAX - 1;

/// Cubes that count as metal and the mould beside them. Lists of six run
/// through the ways −x, +x, −y, +y, −z, +z.
pub(super) struct Links {
    /// Places in the grid: red cubes first, then black ones.
    pub cells: Vec<u32>,
    /// Number of red cubes.
    pub reds: usize,
    /// Numbers of the neighbours, or [`PLAIN`] or [`NONE`].
    pub neighbours: Vec<[u32; 6]>,
    /// The same counted within the other colour; any number where there is none.
    pub across: Vec<[u32; 6]>,
    /// Metal of each cube, in cubes; zero in mould.
    pub metal: Vec<f32>,
    /// Share of each face through which metal conducts.
    pub metal_share: Vec<[f32; 6]>,
    /// Conductance of mould beside it, where one cube of mould is one.
    pub mixed: Vec<[f32; 6]>,
    /// Share of mould between a metal and a mould centre; zero elsewhere.
    pub gap: Vec<[f32; 6]>,
}

impl Links {
    pub(super) fn new(voxels: &Voxels) -> Self {
        let grid = voxels.grid;
        let strides = grid.strides();
        let (cells, reds) = implicit_cells(voxels);
        let mut number = vec![PLAIN; grid.len()];
        for (i, &cell) in cells.iter().enumerate() {
            number[cell as usize] = i as u32;
        }
        let mut neighbours = vec![[NONE; 6]; cells.len()];
        for (i, &cell) in cells.iter().enumerate() {
            let at = grid.cell(cell as usize);
            for (axis, stride) in strides.into_iter().enumerate() {
                if at[axis] > 0 {
                    neighbours[i][2 * axis] = number[cell as usize - stride];
                }
                if at[axis] + 1 < grid.counts[axis] {
                    neighbours[i][2 * axis + 1] = number[cell as usize + stride];
                }
            }
        }
        // Neighbours of a red cube are black, and the other way about.
        let across = neighbours
            .iter()
            .enumerate()
            .map(|(i, six)| {
                let first = if i < reds { reds as u32 } else { 0 };
                six.map(|j| if j < NONE { j - first } else { 0 })
            })
            .collect();
        let mut metal = vec![0.0; cells.len()];
        for core in &voxels.cores {
            metal[number[core.cell as usize] as usize] = core.metal;
        }
        let mut links = Self {
            metal_share: vec![[0.0; 6]; cells.len()],
            mixed: vec![[1.0; 6]; cells.len()],
            gap: vec![[0.0; 6]; cells.len()],
            cells,
            reds,
            neighbours,
            across,
            metal,
        };
        links.join(voxels, &number);
        links
    }

    /// Fills in the faces that are not mould on both sides.
    fn join(&mut self, voxels: &Voxels, number: &[u32]) {
        for (axis, (faces, stride)) in voxels.faces.iter().zip(voxels.grid.strides()).enumerate() {
            for face in faces {
                let ends = [face.cell as usize, face.cell as usize + stride];
                let [low, high] = ends.map(|c| number[c]);
                if low >= NONE || high >= NONE {
                    continue;
                }
                let (low, high) = (low as usize, high as usize);
                let (a, b) = (self.metal[low], self.metal[high]);
                let (share, mixed, gap) = if a > 0.0 && b > 0.0 {
                    // Metal carried for a neighbour also conducts for it.
                    let own = voxels.metal[ends[0]] + voxels.metal[ends[1]];
                    let closed = if face.metal_share > 0.0 { 0.0 } else { 1.0 / face.gap };
                    (face.metal_share * (a + b) / own, closed, 0.0)
                } else if a > 0.0 || b > 0.0 {
                    (0.0, 1.0, face.gap)
                } else {
                    (0.0, 1.0, 0.0)
                };
                for (i, way) in [(low, 2 * axis + 1), (high, 2 * axis)] {
                    self.metal_share[i][way] = share;
                    self.mixed[i][way] = mixed;
                    self.gap[i][way] = gap;
                }
            }
        }
    }
}

/// Cubes with metal and their neighbours, red before black.
fn implicit_cells(voxels: &Voxels) -> (Vec<u32>, usize) {
    let grid = voxels.grid;
    let strides = grid.strides();
    let mut chosen = vec![false; grid.len()];
    for core in &voxels.cores {
        let index = core.cell as usize;
        let at = grid.cell(index);
        chosen[index] = true;
        for axis in 0..3 {
            if at[axis] > 0 {
                chosen[index - strides[axis]] = true;
            }
            if at[axis] + 1 < grid.counts[axis] {
                chosen[index + strides[axis]] = true;
            }
        }
    }
    let colour = |i: &usize| grid.cell(*i).iter().sum::<usize>() % 2;
    let all: Vec<usize> = (0..grid.len()).filter(|&i| chosen[i]).collect();
    let mut cells: Vec<u32> = all.iter().filter(|i| colour(i) == 0).map(|&i| i as u32).collect();
    let reds = cells.len();
    cells.extend(all.iter().filter(|i| colour(i) == 1).map(|&i| i as u32));
    (cells, reds)
}
