//! The explicit pass over plain mould.

use rayon::prelude::*;

/// Mould warmer than this is live: it and its neighbours are stepped, in kelvins.
pub(super) const LIVE_K: f32 = 1e-3;

/// From and to along a row.
pub(super) type Stretch = (u32, u32);

/// No stretch at all.
pub(super) const COLD: Stretch = (u32::MAX, 0);

/// The stretch that spans two.
pub(super) fn join(a: Stretch, b: Stretch) -> Stretch {
    (a.0.min(b.0), a.1.max(b.1))
}

/// One explicit step of all mould that is warm or beside warm mould, by the
/// grid's Fourier number; returns the stretches that have been warm by then.
/// Cubes that hold metal come out wrong and are for the caller to overwrite.
pub(super) fn step(
    old: &[f32],
    next_k: &mut [f32],
    live: &[Stretch],
    [nx, ny, nz]: [usize; 3],
    fo: f32,
) -> Vec<Stretch> {
    next_k
        .par_chunks_mut(nx)
        .with_min_len(64)
        .enumerate()
        .map(|(row, out)| {
            let (y, z) = (row % ny, row / ny);
            let rows = [
                row,
                if y > 0 { row - 1 } else { row },
                if y + 1 < ny { row + 1 } else { row },
                if z > 0 { row - ny } else { row },
                if z + 1 < nz { row + ny } else { row },
            ];
            let reach = rows.iter().fold(COLD, |reach, &r| join(reach, live[r]));
            if reach == COLD {
                return COLD;
            }
            let from = (reach.0 as usize).saturating_sub(1);
            let to = (reach.1 as usize + 1).min(nx);
            let [c, ym, yp, zm, zp] = rows.map(|r| &old[r * nx..(r + 1) * nx]);
            step_row(out, c, [ym, yp, zm, zp], from, to, fo);
            let warm = |t: &f32| t.abs() > LIVE_K;
            let first = out[from..to].iter().position(warm);
            let last = out[from..to].iter().rposition(warm);
            // What was live stays live: a skipped stretch would show old values.
            match (first, last) {
                (Some(a), Some(b)) => join(live[row], ((from + a) as u32, (from + b + 1) as u32)),
                _ => live[row],
            }
        })
        .collect()
}

/// A stretch of a row of the explicit pass; the box's ends let no heat through.
fn step_row(out: &mut [f32], c: &[f32], around: [&[f32]; 4], from: usize, to: usize, fo: f32) {
    let n = c.len();
    let [ym, yp, zm, zp] = around;
    let side = |i: usize| (ym[i] + yp[i]) + (zm[i] + zp[i]);
    if from == 0 {
        out[0] = c[0] + fo * (side(0) + c[0] + c[1.min(n - 1)] - 6.0 * c[0]);
    }
    if to == n && n > 1 {
        out[n - 1] = c[n - 1] + fo * (side(n - 1) + c[n - 2] + c[n - 1] - 6.0 * c[n - 1]);
    }
    let (a, b) = (from.max(1), to.min(n.saturating_sub(1)));
    if a < b {
        let m = b - a;
        let (out, west, here, east) = (&mut out[a..b], &c[a - 1..b - 1], &c[a..b], &c[a + 1..=b]);
        let (ym, yp, zm, zp) = (&ym[a..b], &yp[a..b], &zm[a..b], &zp[a..b]);
        for i in 0..m {
            let sum = (west[i] + east[i]) + (ym[i] + yp[i]) + (zm[i] + zp[i]);
            out[i] = here[i] + fo * (sum - 6.0 * here[i]);
        }
    }
}
