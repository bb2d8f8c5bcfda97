//! How the facets hang together: edges, shells, holes, orientation.

use super::{Bounds, Mesh};

/// Every edge of a mesh with the facets at it.
///
/// Edges are kept at their end with the lower number: for each point a run of
/// entries (other end, half-edge), sorted by the other end. Half-edge `3 f + k`
/// runs from corner `k` of facet `f` to the next. Facets that name a point twice
/// have no place in it.
pub(crate) struct EdgeTable {
    offsets: Vec<u32>,
    entries: Vec<(u32, u32)>,
}

/// The facets at one edge.
pub(crate) struct Edge<'a> {
    /// The end with the lower number.
    pub(crate) low: u32,
    /// The end with the higher number.
    pub(crate) high: u32,
    /// For each facet the half-edge on this edge.
    pub(crate) sides: &'a [(u32, u32)],
}

impl Edge<'_> {
    /// Whether a half-edge of this edge runs from the lower to the higher end.
    pub(crate) fn runs_up(&self, mesh: &Mesh, half_edge: u32) -> bool {
        mesh.triangles()[half_edge as usize / 3][half_edge as usize % 3] == self.low
    }

    /// How many more facets run up than down.
    fn balance(&self, mesh: &Mesh) -> i64 {
        self.sides.iter().map(|&(_, h)| if self.runs_up(mesh, h) { 1 } else { -1 }).sum()
    }
}

/// Whether a facet names a point twice.
pub(crate) fn is_collapsed([a, b, c]: [u32; 3]) -> bool {
    a == b || b == c || c == a
}

impl EdgeTable {
    pub(crate) fn new(mesh: &Mesh) -> Self {
        let mut offsets = vec![0_u32; mesh.vertices().len() + 1];
        let half_edges = || {
            mesh.triangles().iter().enumerate().filter(|(_, t)| !is_collapsed(**t)).flat_map(
                |(facet, t)| (0..3).map(move |k| (t[k], t[(k + 1) % 3], (facet * 3 + k) as u32)),
            )
        };
        for (from, to, _) in half_edges() {
            offsets[from.min(to) as usize + 1] += 1;
        }
        for at in 1..offsets.len() {
            offsets[at] += offsets[at - 1];
        }
        let mut entries = vec![(0, 0); offsets.last().copied().unwrap_or(0) as usize];
        let mut next = offsets.clone();
        for (from, to, half_edge) in half_edges() {
            let slot = &mut next[from.min(to) as usize];
            entries[*slot as usize] = (from.max(to), half_edge);
            *slot += 1;
        }
        for pair in offsets.windows(2) {
            entries[pair[0] as usize..pair[1] as usize].sort_unstable();
        }
        Self { offsets, entries }
    }

    /// All edges in turn.
    pub(crate) fn edges(&self) -> impl Iterator<Item = Edge<'_>> {
        self.offsets.windows(2).enumerate().flat_map(|(low, pair)| {
            self.entries[pair[0] as usize..pair[1] as usize]
                .chunk_by(|a, b| a.0 == b.0)
                .map(move |sides| Edge { low: low as u32, high: sides[0].0, sides })
        })
    }
}

/// What the edges say about a surface.
pub(crate) struct Topology {
    /// The shell of each facet; facets that name a point twice have none. With more than
    /// [`MOST_SHELLS`] all count as one.
    pub(crate) shell_of: Vec<u32>,
    /// How many shells are told apart in `shell_of`.
    pub(crate) shells: usize,
    /// How many shells there are: parts connected over edges.
    pub(crate) shell_count: usize,
    /// Edges with an odd number of facets, running as the facet in excess runs, and a
    /// facet at each.
    pub(crate) open_edges: Vec<([u32; 2], u32)>,
    /// Edges with more than two facets.
    pub(crate) crowded_edges: Vec<[u32; 2]>,
    /// Edges whose facets disagree about which side is outside.
    pub(crate) turned_edges: Vec<[u32; 2]>,
    /// Facets that name a point twice.
    pub(crate) collapsed_facets: Vec<u32>,
    /// Points minus edges plus facets.
    pub(crate) euler: i64,
}

/// With more shells than this, which is a heap of crumbs, they are not told apart.
pub(crate) const MOST_SHELLS: usize = 5000;

/// The shell of a facet that belongs to none.
pub(crate) const NO_SHELL: u32 = u32::MAX;

impl Topology {
    pub(crate) fn new(mesh: &Mesh, table: &EdgeTable) -> Self {
        let triangles = mesh.triangles();
        let mut groups = Groups::new(triangles.len());
        let mut open_edges = Vec::new();
        let mut crowded_edges = Vec::new();
        let mut turned_edges = Vec::new();
        let mut edges = 0_i64;
        for edge in table.edges() {
            edges += 1;
            let ends = [edge.low, edge.high];
            let balance = edge.balance(mesh);
            if edge.sides.len() % 2 == 1 {
                let ends = if balance > 0 { ends } else { [edge.high, edge.low] };
                open_edges.push((ends, edge.sides[0].1 / 3));
            }
            if balance.abs() > 1 {
                turned_edges.push(ends);
            }
            if edge.sides.len() > 2 {
                crowded_edges.push(ends);
            }
            let first = edge.sides[0].1 / 3;
            for &(_, half_edge) in &edge.sides[1..] {
                groups.join(first, half_edge / 3);
            }
        }
        let mut used = vec![false; mesh.vertices().len()];
        let mut shells = 0;
        let mut shell_of = vec![NO_SHELL; triangles.len()];
        let mut collapsed_facets = Vec::new();
        for (facet, &triangle) in triangles.iter().enumerate() {
            if is_collapsed(triangle) {
                collapsed_facets.push(facet as u32);
                continue;
            }
            triangle.into_iter().for_each(|index| used[index as usize] = true);
            let root = groups.lead(facet as u32) as usize;
            if shell_of[root] == NO_SHELL {
                shell_of[root] = shells;
                shells += 1;
            }
            shell_of[facet] = shell_of[root];
        }
        let shell_count = shells as usize;
        if shell_count > MOST_SHELLS {
            shells = 1;
            shell_of.iter_mut().filter(|shell| **shell != NO_SHELL).for_each(|shell| *shell = 0);
        }
        let points = used.into_iter().filter(|used| *used).count();
        let facets = triangles.len() - collapsed_facets.len();
        Self {
            shell_of,
            shells: shells as usize,
            shell_count,
            open_edges,
            crowded_edges,
            turned_edges,
            collapsed_facets,
            euler: points as i64 - edges + facets as i64,
        }
    }

    /// No edge is open.
    pub(crate) fn is_closed(&self) -> bool {
        self.open_edges.is_empty() && self.shells > 0
    }

    /// The open edges gathered into the rims of holes, the largest first.
    pub(crate) fn holes(&self, mesh: &Mesh) -> Vec<Hole> {
        // The rim runs against the facets beside it, so that a lid fits.
        let mut by_start: Vec<[u32; 3]> =
            self.open_edges.iter().map(|&([a, b], facet)| [b, a, facet]).collect();
        by_start.sort_unstable();
        let mut taken = vec![false; by_start.len()];
        let mut holes = Vec::new();
        for first in 0..by_start.len() {
            if taken[first] {
                continue;
            }
            let mut rim = Vec::new();
            let mut at = first;
            let complete = loop {
                taken[at] = true;
                rim.push(by_start[at][0]);
                let goal = by_start[at][1];
                if goal == by_start[first][0] {
                    break true;
                }
                let from = by_start.partition_point(|edge| edge[0] < goal);
                let next = (from..by_start.len())
                    .take_while(|&next| by_start[next][0] == goal)
                    .find(|&next| !taken[next]);
                match next {
                    Some(next) => at = next,
                    None => {
                        rim.push(goal);
                        break false;
                    }
                }
            };
            let mut bounds = Bounds::EMPTY;
            rim.iter().for_each(|&index| bounds.include(mesh.vertices()[index as usize]));
            let facet = by_start[first][2];
            holes.push(Hole { rim, complete, bounds, facet });
        }
        holes.sort_by(|a, b| b.bounds.diagonal().total_cmp(&a.bounds.diagonal()));
        holes
    }
}

/// A hole in a surface.
pub(crate) struct Hole {
    /// The points along it, in the order in which a lid's facets would run.
    pub(crate) rim: Vec<u32>,
    /// Whether the rim returns to its start.
    pub(crate) complete: bool,
    /// The box around it.
    pub(crate) bounds: Bounds,
    /// A facet at the rim.
    pub(crate) facet: u32,
}

/// Things numbered from zero, gathered into groups.
pub(crate) struct Groups(Vec<u32>);

impl Groups {
    /// Each thing alone.
    pub(crate) fn new(count: usize) -> Self {
        Self((0..count as u32).collect())
    }

    /// The lowest number in the thing's group.
    pub(crate) fn lead(&mut self, mut of: u32) -> u32 {
        while self.0[of as usize] != of {
            let above = self.0[self.0[of as usize] as usize];
            self.0[of as usize] = above;
            of = above;
        }
        of
    }

    /// Makes one group of two.
    pub(crate) fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.lead(a), self.lead(b));
        self.0[a.max(b) as usize] = a.min(b);
    }
}

/// The mesh with some facets turned.
pub(crate) fn turned_mesh(mesh: &Mesh, turns: impl Fn(usize) -> bool) -> Mesh {
    let turned = mesh.triangles().iter().enumerate();
    let turned = turned.map(|(facet, &[a, b, c])| if turns(facet) { [a, c, b] } else { [a, b, c] });
    Mesh::trusted(mesh.vertices().to_vec(), turned.collect())
}

/// Facets that repeat another on the same three points and have to go, sorted.
///
/// Of facets facing the same way one stays. Two that lie back to back are a wall between
/// bodies that touch, and stay, unless their edges say that one is too many.
pub(crate) fn surplus_facets(mesh: &Mesh, table: &EdgeTable) -> Vec<u32> {
    let triangles = mesh.triangles();
    let mut surplus = Vec::new();
    let mut above: Vec<(u32, bool, u32)> = Vec::new();
    for edge in table.edges().filter(|edge| edge.sides.len() > 1) {
        // Each set of three points is looked at once, at the edge of the two lowest.
        above.clear();
        above.extend(edge.sides.iter().filter_map(|&(_, half_edge)| {
            let apex = corner_opposite(triangles, half_edge);
            let up = edge.runs_up(mesh, half_edge);
            (apex > edge.high).then_some((apex, up, half_edge / 3))
        }));
        above.sort_unstable();
        for same in above.chunk_by(|a, b| a.0 == b.0).filter(|same| same.len() > 1) {
            let down = same.iter().filter(|facet| !facet.1).count();
            let kept = if down * 2 > same.len() {
                0..1
            } else if down * 2 < same.len() {
                down..down + 1
            } else if edge.sides.len() % 2 == 1 {
                0..1
            } else {
                down - 1..down + 1
            };
            let dropped = same.iter().enumerate().filter(|(at, _)| !kept.contains(at));
            surplus.extend(dropped.map(|(_, facet)| facet.2));
        }
    }
    surplus.sort_unstable();
    surplus
}

/// The corner of a half-edge's facet that is not on the half-edge.
pub(crate) fn corner_opposite(triangles: &[[u32; 3]], half_edge: u32) -> u32 {
    triangles[half_edge as usize / 3][(half_edge as usize % 3 + 2) % 3]
}

/// Which facets to turn so that neighbours agree about the outside.
///
/// Neighbours are facets that alone share an edge. In each part so connected the
/// minority is turned. `None` when the surface cannot be made to agree, like a
/// Möbius strip, or when more than two facets meet where they disagree.
pub(crate) fn agreeing(mesh: &Mesh, table: &EdgeTable) -> Option<Vec<bool>> {
    const UNSEEN: u8 = 2;
    let triangles = mesh.triangles();
    let mut partner = vec![u32::MAX; triangles.len() * 3];
    for edge in table.edges() {
        if let [(_, a), (_, b)] = *edge.sides {
            partner[a as usize] = b;
            partner[b as usize] = a;
        }
    }
    let mut turned = vec![UNSEEN; triangles.len()];
    let mut part = Vec::new();
    for first in 0..triangles.len() {
        if turned[first] != UNSEEN {
            continue;
        }
        turned[first] = 0;
        part.clear();
        part.push(first);
        let mut at = 0;
        while at < part.len() {
            let facet = part[at];
            at += 1;
            for k in 0..3 {
                let half_edge = facet * 3 + k;
                let other = partner[half_edge];
                if other == u32::MAX {
                    continue;
                }
                let (neighbour, j) = (other as usize / 3, other as usize % 3);
                // Both starting at the same point means that they disagree.
                let disagree = u8::from(triangles[facet][k] == triangles[neighbour][j]);
                let due = turned[facet] ^ disagree;
                if turned[neighbour] == UNSEEN {
                    turned[neighbour] = due;
                    part.push(neighbour);
                } else if turned[neighbour] != due {
                    return None;
                }
            }
        }
        let minority = part.iter().filter(|&&facet| turned[facet] == 1).count() * 2 > part.len();
        if minority {
            part.iter().for_each(|&facet| turned[facet] ^= 1);
        }
    }
    let turned: Vec<bool> = turned.into_iter().map(|turn| turn == 1).collect();
    let agrees = |edge: &Edge<'_>| {
        let up = |&(_, h): &(u32, u32)| edge.runs_up(mesh, h) != turned[h as usize / 3];
        let balance: i64 = edge.sides.iter().map(|side| if up(side) { 1 } else { -1 }).sum();
        balance.abs() <= 1
    };
    table.edges().all(|edge| agrees(&edge)).then_some(turned)
}
