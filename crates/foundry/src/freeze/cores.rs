//! Which cubes count as metal, and whose metal they carry.

use super::grid::Grid;
use super::voxels::Core;

/// A cube without its centre in metal still counts as metal when no cube with
/// one is near and none beside it holds this many times as much.
const OUTDONE: f32 = 1.5;

/// Books all metal to cubes that count as metal: those whose centre is in it,
/// and, where a section is thinner than the pitch, the fullest cubes of it.
pub(super) fn book(grid: &Grid, metal: &[f32], piece: &[f32], centres: &[u32]) -> Vec<Core> {
    let mut counts = vec![false; grid.len()];
    for &cell in centres {
        counts[cell as usize] = metal[cell as usize] > 0.0;
    }
    let shallow: Vec<usize> = (0..grid.len()).filter(|&c| metal[c] > 0.0 && !counts[c]).collect();
    let thin: Vec<usize> = shallow
        .iter()
        .copied()
        .filter(|&c| {
            let around = around(grid, c);
            !around.iter().any(|&(n, _)| counts[n])
                && !around.iter().any(|&(n, near)| near == 1 && metal[n] > OUTDONE * metal[c])
        })
        .collect();
    for &cell in &thin {
        counts[cell] = true;
    }
    let mut carried: Vec<(f32, f32)> = (0..grid.len())
        .map(|c| if counts[c] { (metal[c], piece[c]) } else { (0.0, 0.0) })
        .collect();
    for &cell in &shallow {
        if counts[cell] {
            continue;
        }
        // Shared among the nearest cubes that count, by how much they hold.
        let around = around(grid, cell);
        let nearest = around.iter().filter(|&&(n, _)| counts[n]).map(|&(_, near)| near).min();
        let Some(nearest) = nearest else {
            counts[cell] = true;
            carried[cell] = (metal[cell], piece[cell]);
            continue;
        };
        let hosts = || around.iter().filter(|&&(n, near)| near == nearest && counts[n]);
        let whole: f32 = hosts().map(|&(n, _)| metal[n]).sum();
        for &(host, _) in hosts() {
            carried[host].0 += metal[cell] * metal[host] / whole;
            carried[host].1 += piece[cell] * metal[host] / whole;
        }
    }
    (0..grid.len())
        .filter(|&c| counts[c])
        .map(|c| Core { cell: c as u32, metal: carried[c].0, piece: carried[c].1 })
        .collect()
}

/// The up to 26 cubes around one, with the number of axes along which each is off.
fn around(grid: &Grid, index: usize) -> Vec<(usize, usize)> {
    let cell = grid.cell(index);
    let mut found = Vec::with_capacity(26);
    for step in (0..27).filter(|&s| s != 13) {
        let offset = [step % 3, step / 3 % 3, step / 9];
        let beside: Option<[usize; 3]> = (0..3)
            .map(|a| (cell[a] + offset[a]).checked_sub(1).filter(|&c| c < grid.counts[a]))
            .collect::<Option<Vec<usize>>>()
            .and_then(|c| c.try_into().ok());
        if let Some(beside) = beside {
            found.push((grid.index(beside), offset.iter().filter(|&&o| o != 1).count()));
        }
    }
    found
}
