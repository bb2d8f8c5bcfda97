//! Pieces in as few and as full flasks as can be found.

use rayon::prelude::*;

use super::attach::{Attach, Attachment, attachment};
use super::cover::cover;
use super::fewest::{Filled, fewest_flasks};
use super::fill::{Filling, Hanging, alone_on_tip, needed};
use super::flask::{
    FlaskKind, Heavy, NoFlask, OnTree, PackedFlasks, Rod, ToTree, TreeRules, Treed,
};
use super::refusal::PackRefusal;
use super::stance::{on_the_tip, stances};
use crate::mesh::{Mesh, measure_mesh};

/// What hangs on a tree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pattern<'m> {
    /// Its surface, in millimetres.
    pub mesh: &'m Mesh,
    /// Where it is joined.
    pub attach: Attach,
}

/// Hangs pieces on trees in as few flasks as are found, and each in the least flask that holds
/// what is in it.
///
/// Shapes are taken as they are: surfaces covered by small balls, tried around the sprue at every
/// height, in several tilts, turns and lengths of runner, each at the first place where it is
/// clear of everything. Pieces of one group only (one alloy, one pattern family) share a flask.
/// What is due first goes into the first flask, and is never put off for something due later;
/// within a flask heavy pieces are hung first, where [`TreeRules::heavy`] says. Flasks are taken
/// from the largest that is still needed down to the least that holds the rest. The same input
/// gives the same trees.
///
/// # Units
/// Millimetres; see [`OnTree`] for the frame.
///
/// # Accuracy
/// Clearances are kept for certain, and up to about a millimetre and a half more than asked, for
/// pieces the size of a ring. Heights are tried every 2 mm. Good, not proven fewest; tests
/// compare tiers of balls with the closed form and whole trees with an exact judge.
/// [`PackedFlasks::at_least`] says how many flasks the same pieces take whoever packs them.
///
/// # Refuses
/// Rules, flasks and lengths that make no sense, a pattern without facets, a piece of a pattern
/// that is not there.
pub fn pack_flasks(
    kinds: &[FlaskKind],
    patterns: &[Pattern<'_>],
    pieces: &[ToTree],
    rules: &TreeRules,
) -> Result<PackedFlasks, PackRefusal> {
    rules.check(kinds)?;
    if let Some(piece) = pieces.iter().position(|piece| piece.pattern >= patterns.len()) {
        return Err(PackRefusal::NoSuchModel { piece, model: pieces[piece].pattern });
    }
    let prepared: Vec<(Attachment, Hanging, Option<f64>)> = patterns
        .par_iter()
        .enumerate()
        .map(|(model, pattern)| {
            let join = attachment(pattern.mesh, pattern.attach)
                .map_err(|_| PackRefusal::NoModel { model })?;
            let balls = cover(pattern.mesh);
            let hanging = Hanging {
                stances: stances(&balls, &join, rules),
                tip: on_the_tip(&balls, &join, rules),
            };
            let volume = measure_mesh(pattern.mesh).ok().and_then(|found| found.volume);
            Ok((join, hanging, volume.map(crate::quantity::CubicMillimetres::get)))
        })
        .collect::<Result<_, PackRefusal>>()?;
    let (mut attachments, mut hanging, mut volumes) = (Vec::new(), Vec::new(), Vec::new());
    for (join, hangs, volume) in prepared {
        attachments.push(join);
        hanging.push(hangs);
        volumes.push(volume);
    }
    let packing = Packing { kinds, pieces, rules, hanging: &hanging, volumes: &volumes };
    let mut free: Vec<usize> =
        kinds.iter().map(|kind| kind.at_hand.unwrap_or(usize::MAX)).collect();
    let mut packed =
        PackedFlasks { flasks: Vec::new(), left: Vec::new(), at_least: 0, attachments };
    for waiting in packing.groups() {
        packing.pack_group(waiting, &mut free, &mut packed);
    }
    packed.left.sort_by_key(|(piece, _)| *piece);
    let hung: Vec<Filled> = packed
        .flasks
        .iter()
        .flat_map(|flask| &flask.pieces)
        .map(|on| &pieces[on.piece])
        .map(|piece| Filled { volume_mm3: packing.volumes[piece.pattern], group: piece.group })
        .collect();
    packed.at_least = fewest_flasks(kinds, rules, &hung);
    Ok(packed)
}

struct Packing<'a> {
    kinds: &'a [FlaskKind],
    pieces: &'a [ToTree],
    rules: &'a TreeRules,
    hanging: &'a [Hanging],
    volumes: &'a [Option<f64>],
}

impl Packing<'_> {
    /// The pieces of each group, due first; the group with the piece due first comes first.
    fn groups(&self) -> Vec<Vec<usize>> {
        let mut order: Vec<usize> = (0..self.pieces.len()).collect();
        let due = |n: usize| (self.pieces[n].due.is_none(), self.pieces[n].due);
        order.sort_by(|&a, &b| {
            let lighter = self.weight(b).total_cmp(&self.weight(a));
            due(a).cmp(&due(b)).then(lighter).then(a.cmp(&b))
        });
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for n in order {
            let same =
                |group: &&mut Vec<usize>| self.pieces[group[0]].group == self.pieces[n].group;
            match groups.iter_mut().find(same) {
                Some(group) => group.push(n),
                None => groups.push(vec![n]),
            }
        }
        groups
    }

    fn pack_group(&self, mut waiting: Vec<usize>, free: &mut [usize], packed: &mut PackedFlasks) {
        let mut by_size: Vec<usize> = (0..self.kinds.len()).collect();
        let size = |kind: usize| self.kinds[kind].diameter_mm.powi(2) * self.kinds[kind].height_mm;
        by_size.sort_by(|&a, &b| size(a).total_cmp(&size(b)).then(a.cmp(&b)));
        // Whether a piece goes into some kind of flask at all, free or not.
        let mut known: Vec<Option<bool>> = vec![None; self.hanging.len()];
        let mut able = Vec::new();
        for piece in waiting.drain(..) {
            let pattern = self.pieces[piece].pattern;
            let fits = || by_size.iter().rev().any(|&kind| self.alone(kind, piece).is_some());
            if *known[pattern].get_or_insert_with(fits) {
                able.push(piece);
            } else {
                let [diameter_mm, height_mm] = self.needs(piece);
                packed.left.push((piece, NoFlask::TooLarge { diameter_mm, height_mm }));
            }
        }
        while !able.is_empty() {
            let usable: Vec<usize> =
                by_size.iter().copied().filter(|&kind| free[kind] > 0).collect();
            let Some((kind, tree, on)) = self.next_flask(&usable, &able) else {
                for &piece in &able {
                    let [diameter_mm, height_mm] = self.needs(piece);
                    packed.left.push((piece, NoFlask::NoneFree { diameter_mm, height_mm }));
                }
                return;
            };
            free[kind] -= 1;
            able.retain(|piece| !on.contains(piece));
            packed.flasks.push(self.treed(kind, tree));
        }
    }

    /// The next flask to be filled: the least that takes all that waits, else the one that takes
    /// most, or the least that takes the same.
    fn next_flask(&self, usable: &[usize], able: &[usize]) -> Option<(usize, Tree, Vec<usize>)> {
        let mut best: Option<(usize, Tree, Vec<usize>)> = None;
        for &kind in usable.iter().rev() {
            let (wanted, all) = match &best {
                // Only a flask that takes no less is of interest below the first.
                Some((_, _, on)) => (on.clone(), true),
                None => (able.to_vec(), false),
            };
            if let Some((tree, on)) = self.fill(kind, &wanted, all) {
                best = Some((kind, tree, on));
            }
        }
        best
    }

    /// Fills one flask with as many pieces as go in, those due first before the others; `all` asks
    /// for all or nothing.
    fn fill(&self, kind: usize, wanted: &[usize], all: bool) -> Option<(Tree, Vec<usize>)> {
        if wanted.is_empty() {
            return None;
        }
        // The longest beginning of the list, by due date, that goes in when the heavy are hung
        // first; then what is due later fills the room that is left.
        let mut first = wanted.len();
        loop {
            let mut filling = Filling::new(self.rules, &self.kinds[kind], self.hanging);
            let mut failed = Vec::new();
            for piece in self.heavy_first(&wanted[..first]) {
                if !filling.hang(piece, self.pieces[piece].pattern) {
                    failed.push(piece);
                    if all {
                        break;
                    }
                }
            }
            if failed.is_empty() || (!all && self.may_wait(&wanted[..first], &failed)) {
                for piece in self.heavy_first(&wanted[first..]) {
                    if failed.is_empty() {
                        filling.hang(piece, self.pieces[piece].pattern);
                    }
                }
                let tree = filling.tree();
                let on: Vec<usize> = tree.0.iter().map(|on| on.piece).collect();
                if !on.is_empty() {
                    return Some((tree, on));
                }
            }
            let count = filling.count();
            if all || count == 0 || first == 1 {
                let tree = self.alone(kind, wanted[0])?;
                return (!all || wanted.len() == 1).then(|| (tree, vec![wanted[0]]));
            }
            first = count.min(first - 1);
        }
    }

    /// Whether none of the pieces that found no room is due before one that did.
    fn may_wait(&self, tried: &[usize], failed: &[usize]) -> bool {
        let due = |piece: &usize| self.pieces[*piece].due.unwrap_or(i64::MAX);
        let first_failed = failed.iter().map(due).min().unwrap_or(i64::MAX);
        tried.iter().filter(|piece| !failed.contains(piece)).map(due).all(|day| day <= first_failed)
    }

    /// A piece by itself in a flask.
    fn alone(&self, kind: usize, piece: usize) -> Option<Tree> {
        let pattern = self.pieces[piece].pattern;
        let mut filling = Filling::new(self.rules, &self.kinds[kind], self.hanging);
        if filling.hang(piece, pattern) {
            return Some(filling.tree());
        }
        alone_on_tip(self.rules, &self.kinds[kind], &self.hanging[pattern], piece)
    }

    fn needs(&self, piece: usize) -> [f64; 2] {
        needed(self.rules, &self.hanging[self.pieces[piece].pattern])
    }

    /// In the order in which pieces are hung: heavy first, unless they may go anywhere, when those
    /// that take most room go first.
    fn heavy_first(&self, some: &[usize]) -> Vec<usize> {
        let mut order = some.to_vec();
        order.sort_by(|&a, &b| self.weight(b).total_cmp(&self.weight(a)).then(a.cmp(&b)));
        order
    }

    /// By which pieces are hung first.
    fn weight(&self, piece: usize) -> f64 {
        let pattern = self.pieces[piece].pattern;
        let bulk = self.hanging[pattern]
            .stances
            .first()
            .map_or(0.0, |stance| stance.out_mm * stance.around_deg * stance.high_mm());
        match self.rules.heavy {
            Heavy::Anywhere => bulk,
            _ => self.volumes[pattern].unwrap_or(bulk),
        }
    }

    fn treed(&self, kind: usize, (pieces, sprue): Tree) -> Treed {
        let volume = |on: &OnTree| self.volumes[self.pieces[on.piece].pattern];
        let rods = sprue.iter().chain(pieces.iter().map(|on| &on.runner));
        Treed {
            kind,
            group: pieces.first().map_or(0, |on| self.pieces[on.piece].group),
            pieces_mm3: pieces.iter().map(volume).sum(),
            sprue_mm3: rods.map(Rod::volume_mm3).sum(),
            pieces,
            sprue,
        }
    }
}

/// The pieces of a tree and the rods of its sprue.
type Tree = (Vec<OnTree>, Vec<Rod>);
