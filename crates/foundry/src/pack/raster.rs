//! Footprints: what a turned model covers seen from above, as cells, and its outline.

use super::mask::Mask;

/// Rounding in a coordinate must not set the cell beyond a border, in cells.
const SLACK: f64 = 1e-7;

/// The cells that triangles touch; the corner of the patch lies at `least_mm`.
pub(super) fn raster(
    triangles: impl Iterator<Item = [[f64; 2]; 3]>,
    least_mm: [f64; 2],
    greatest_mm: [f64; 2],
    pitch_mm: f64,
) -> Mask {
    let cells = |axis: usize| {
        (((greatest_mm[axis] - least_mm[axis]) / pitch_mm - SLACK).ceil().max(1.0)) as usize
    };
    let mut mask = Mask::new(cells(0), cells(1));
    for triangle in triangles {
        let corners =
            triangle.map(|p| [(p[0] - least_mm[0]) / pitch_mm, (p[1] - least_mm[1]) / pitch_mm]);
        let low = corners.iter().map(|p| p[1]).fold(f64::INFINITY, f64::min);
        let high = corners.iter().map(|p| p[1]).fold(f64::NEG_INFINITY, f64::max);
        let first = (low + SLACK).floor().max(0.0) as usize;
        let last = ((high - SLACK).floor().max(0.0) as usize).max(first).min(mask.height - 1);
        for y in first..=last {
            if let Some((from, to)) = within_row(&corners, y as f64, y as f64 + 1.0) {
                let from = (from + SLACK).floor().max(0.0) as usize;
                let to = ((to - SLACK).floor().max(0.0) as usize).max(from) + 1;
                mask.set_span(y, from, to);
            }
        }
    }
    mask
}

/// The extent along x of the part of a triangle between two heights.
fn within_row(corners: &[[f64; 2]; 3], low: f64, high: f64) -> Option<(f64, f64)> {
    let mut extent = (f64::INFINITY, f64::NEG_INFINITY);
    let mut include = |x: f64| extent = (extent.0.min(x), extent.1.max(x));
    for n in 0..3 {
        let (a, b) = (corners[n], corners[(n + 1) % 3]);
        if (low..=high).contains(&a[1]) {
            include(a[0]);
        }
        for level in [low, high] {
            if (a[1] < level) != (b[1] < level) {
                include(a[0] + (b[0] - a[0]) * ((level - a[1]) / (b[1] - a[1])));
            }
        }
    }
    (extent.0 <= extent.1).then_some(extent)
}

/// The borders of the set cells as closed loops, in cells; what is set lies to their left, so
/// that borders of holes run clockwise. Steps smaller than a cell are smoothed away.
pub(super) fn borders(mask: &Mask) -> Vec<Vec<[f64; 2]>> {
    let (width, height) = (mask.width as isize, mask.height as isize);
    let set = |x: isize, y: isize| mask.at(x, y);
    // A border leaves each lattice point at most twice; both ways out are kept.
    let stride = (width + 1) as usize;
    let mut ways: Vec<[Option<u8>; 2]> = vec![[None; 2]; stride * (height + 1) as usize];
    let at = |x: isize, y: isize| y as usize * stride + x as usize;
    let mut add = |x: isize, y: isize, way: u8| {
        let slot = &mut ways[at(x, y)];
        if slot[0].is_none() { slot[0] = Some(way) } else { slot[1] = Some(way) }
    };
    for y in 0..height {
        for x in (0..width).filter(|&x| set(x, y)) {
            if !set(x, y - 1) {
                add(x, y, 0);
            }
            if !set(x + 1, y) {
                add(x + 1, y, 1);
            }
            if !set(x, y + 1) {
                add(x + 1, y + 1, 2);
            }
            if !set(x - 1, y) {
                add(x, y + 1, 3);
            }
        }
    }
    let mut loops = Vec::new();
    for start in 0..ways.len() {
        while let Some(first) = ways[start][0].take().or_else(|| ways[start][1].take()) {
            let origin = ((start % stride) as isize, (start / stride) as isize);
            let (mut here, mut way) = (origin, first);
            let mut points = Vec::new();
            loop {
                points.push([here.0 as f64, here.1 as f64]);
                here = match way {
                    0 => (here.0 + 1, here.1),
                    1 => (here.0, here.1 + 1),
                    2 => (here.0 - 1, here.1),
                    _ => (here.0, here.1 - 1),
                };
                if here == origin {
                    break;
                }
                let slot = &mut ways[at(here.0, here.1)];
                // Where two borders touch, the sharpest turn to the left keeps them apart.
                let left = (way + 1) % 4;
                let pick = usize::from(slot[0] != Some(left) && slot[1] == Some(left));
                match slot[pick].take().or_else(|| slot[1 - pick].take()) {
                    Some(next) => way = next,
                    None => break,
                }
            }
            loops.push(simplified(&points, 0.75));
        }
    }
    loops
}

/// A closed loop with those points left out that lie within `tolerance` of the line without them.
///
/// Source: D. H. Douglas, T. K. Peucker, Algorithms for the reduction of the number of points
/// required to represent a digitized line, Cartographica 10(2), 1973 (from memory).
fn simplified(points: &[[f64; 2]], tolerance: f64) -> Vec<[f64; 2]> {
    if points.len() < 4 {
        return points.to_vec();
    }
    let far = |from: [f64; 2]| {
        let square = |p: &[f64; 2]| (p[0] - from[0]).powi(2) + (p[1] - from[1]).powi(2);
        (0..points.len()).max_by(|&a, &b| square(&points[a]).total_cmp(&square(&points[b])))
    };
    let opposite = far(points[0]).unwrap_or(0);
    let mut kept = vec![false; points.len() + 1];
    (kept[0], kept[opposite]) = (true, true);
    let at = |n: usize| points[n % points.len()];
    let mut waiting = vec![(0, opposite), (opposite, points.len())];
    while let Some((from, to)) = waiting.pop() {
        let (a, b) = (at(from), at(to));
        let length = (b[0] - a[0]).hypot(b[1] - a[1]);
        let away = |n: usize| {
            let p = at(n);
            let across = (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]);
            if length > 0.0 { across.abs() / length } else { (p[0] - a[0]).hypot(p[1] - a[1]) }
        };
        let farthest = (from + 1..to).max_by(|&m, &n| away(m).total_cmp(&away(n)));
        if let Some(middle) = farthest.filter(|&n| away(n) > tolerance) {
            kept[middle] = true;
            waiting.extend([(from, middle), (middle, to)]);
        }
    }
    (0..points.len()).filter(|&n| kept[n]).map(at).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area(points: &[[f64; 2]]) -> f64 {
        let next = points.iter().cycle().skip(1);
        points.iter().zip(next).map(|(a, b)| a[0] * b[1] - a[1] * b[0]).sum::<f64>() / 2.0
    }

    #[test]
    fn a_square_covers_its_cells_and_no_more() {
        let square = [[[0.0, 0.0], [4.0, 0.0], [4.0, 4.0]], [[0.0, 0.0], [4.0, 4.0], [0.0, 4.0]]];
        let mask = raster(square.into_iter(), [0.0; 2], [4.0; 2], 0.5);
        assert_eq!((mask.width, mask.height, mask.count()), (8, 8, 64));
        let borders = borders(&mask);
        assert_eq!(borders.len(), 1);
        assert!((area(&borders[0]) - 64.0).abs() < 1e-9);
        assert_eq!(borders[0].len(), 4);
    }

    #[test]
    fn a_sliver_thinner_than_a_cell_is_not_lost() {
        let sliver = [[[0.2, 0.1], [9.7, 0.1], [9.7, 0.11]]];
        let mask = raster(sliver.into_iter(), [0.0; 2], [10.0, 1.0], 1.0);
        assert_eq!(mask.count(), 10);
    }

    #[test]
    fn a_hole_has_a_border_of_its_own() {
        let mut frame = Mask::new(9, 9);
        for y in 0..9 {
            if (3..6).contains(&y) {
                frame.set_span(y, 0, 3);
                frame.set_span(y, 6, 9);
            } else {
                frame.set_span(y, 0, 9);
            }
        }
        let borders = borders(&frame);
        let mut areas: Vec<f64> = borders.iter().map(|one| area(one)).collect();
        areas.sort_by(f64::total_cmp);
        assert_eq!(areas, [-9.0, 81.0]);
    }
}
