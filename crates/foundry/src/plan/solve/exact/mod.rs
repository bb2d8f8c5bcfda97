//! Small problems searched through to the end, so that the best plan is known to be the best.
//!
//! A node of the search is a beginning of a plan: some loads one after the other in their kilns,
//! each at the earliest time that what has been decided leaves it. Where two pours meet on the
//! furnace, or more kilns ramp at once than may, there is a node for each way of putting one
//! before the other. Where nothing meets, the kiln that is free first gets its next load: a node
//! for every set of flasks that may share one, and a node without a further load in that kiln.
//! Deciding only ever moves times later, so what a node costs is a bound for all that follow from
//! it; what is left is bounded by planning it in every kiln as if there were no other
//! ([`rest::Rest`]). A node that cannot become better than the best plan known is dropped, and so
//! is one after which the same can follow as after a cheaper one ([`seen::Seen`]). Whoever is
//! pinned is in sets of one kiln and one start. What may count less at a later start than at an
//! earlier one is counted at its least over the span of starts a load has, and the span divided
//! ([`extra::Extra`]).
//!
//! # Source
//! Branching on what clashes in an otherwise earliest schedule: E. Balas, "Machine sequencing via
//! disjunctive graphs: an implicit enumeration algorithm", Operations Research 17 (1969) 941.
//! Bounding a batching machine by what it does alone, set by set: P. Brucker et al., "Scheduling a
//! batching machine", Journal of Scheduling 1 (1998) 31.

mod extra;
mod kind;
mod kinds;
mod late;
mod node;
mod rest;
mod seen;
mod times;

use crate::plan::calendar::Min;
use crate::plan::floor::Floors;
use crate::plan::model::Model;

use super::board::Timing;
use super::draft::{Draft, Place, Unit, UnitNo};
use super::schedule::{Schedule, Value};
use kinds::Kinds;
use node::Node;
use rest::Rest;
use seen::Seen;
use times::Meeting;

/// The most units whose sets are gone through, and the most flasks in them.
const MOST_UNITS: usize = 12;
const MOST_FLASKS: usize = 16;
/// The most kilns over which what is left is divided.
const MOST_KILNS: usize = 4;

/// Bounds take what happens within such a span to happen at its beginning, so that results are
/// met again: a kiln is free, a load starts.
const SPAN_MIN: Min = 15;

/// A set of units, by their numbers among those that are searched through.
type Mask = u16;

/// More than any plan costs.
const NONE: Value = (i64::MAX / 4, 0, 0);

/// A search that is carried on in pieces.
pub(super) struct Exact<'m> {
    frame: Frame<'m>,
    rest: Rest,
    seen: Seen,
    open: Vec<Node>,
}

/// What stays the same throughout a search.
struct Frame<'m> {
    model: &'m Model,
    kinds: Kinds,
    /// Pours of loads that stay, in order: when, and which alloy.
    furnace: Vec<(Min, u16)>,
    /// Ramps of loads that stay: from, to.
    ramps: Vec<(Min, Min)>,
    /// For each kiln the spans into which no load reaches, in order.
    busy: Vec<Vec<(Min, Min)>>,
    /// For each kiln an earlier one that is like it in everything.
    twin: Vec<Option<usize>>,
    /// Loads that stay as they are, and what they cost.
    stays: Schedule<'m>,
    stays_cost: Value,
}

impl<'m> Exact<'m> {
    /// A search through all plans of some units beside loads that stay as they are; none when
    /// there are too many units, flasks or kilns. Plans that leave a unit out are not looked at.
    pub(super) fn new(
        model: &'m Model,
        floors: &mut Floors,
        units: &[Unit],
        members: &[UnitNo],
        stays: Schedule<'m>,
    ) -> Option<Self> {
        let few = (1..=MOST_UNITS).contains(&members.len()) && model.kilns.len() <= MOST_KILNS;
        let flasks: usize = members.iter().map(|&one| units[usize::from(one)].flasks.len()).sum();
        let cost = stays.cost();
        if !few || flasks > MOST_FLASKS || cost.broken > 0 {
            return None;
        }
        let kilns = 0..model.kilns.len();
        let board = &stays.board;
        let busy: Vec<Vec<(Min, Min)>> = kilns.clone().map(|kiln| busy(&stays, kiln)).collect();
        let pinned = |kiln: usize| {
            let place = |one: &UnitNo| units[usize::from(*one)].place;
            members.iter().filter_map(place).any(|place| place.0 == kiln)
        };
        let alike = |kiln: usize, other: usize| {
            busy[kiln] == busy[other]
                && !pinned(kiln)
                && !pinned(other)
                && are_alike(model, kiln, other)
        };
        // The last of the kilns before one that are like it in everything.
        let twin: Vec<Option<usize>> =
            kilns.map(|kiln| (0..kiln).rev().find(|&other| alike(kiln, other))).collect();
        let frame = Frame {
            model,
            kinds: Kinds::new(model, floors, units, members),
            furnace: board.poured().collect(),
            ramps: board.ramps().collect(),
            busy,
            twin,
            stays_cost: cost.value(),
            stays,
        };
        let mut exact = Self {
            rest: Rest::new(&frame, units, members),
            frame,
            seen: Seen::default(),
            open: Vec::new(),
        };
        let mut root = Node::new(((1_u32 << members.len()) - 1) as Mask, model.kilns.len());
        exact.frame.set_free(&mut root);
        root.bound = exact.bound(&root);
        exact.open.push(root);
        Some(exact)
    }

    /// Whether every plan has been looked at or bounded.
    pub(super) fn is_done(&self) -> bool {
        self.open.is_empty()
    }

    /// Looks at so many nodes; the best plan found that is better than the one known.
    pub(super) fn advance(
        &mut self,
        nodes: usize,
        known: Option<Value>,
        units: &[Unit],
    ) -> Option<Schedule<'m>> {
        let mut least = known.unwrap_or(NONE);
        let mut found = None;
        for _ in 0..nodes {
            let Some(node) = self.open.pop() else { break };
            if node.bound >= least {
                continue;
            }
            if let Some((load, later)) = self.frame.cheaper_later(&node) {
                self.divide(&node, load, later, least);
            } else if let Some(meeting) = self.frame.meeting(&node) {
                self.decide(&node, &meeting, least);
            } else if node.left == 0 {
                least = node.bound;
                found = Some(node);
            } else if !self.is_beaten(&node) {
                self.extend(&node, least);
            }
        }
        found.map(|node| self.frame.schedule(&node, units))
    }

    /// Whether the same can follow from a node looked at before, at no greater cost.
    fn is_beaten(&mut self, node: &Node) -> bool {
        let Some(key) = self.frame.what_follows(node) else { return false };
        let cost = self.frame.cost(node);
        self.seen.is_beaten(key, cost)
    }

    /// A node for each part of the span in which a load may start.
    fn divide(&mut self, node: &Node, load: usize, later: Min, least: Value) {
        let mut children = Vec::new();
        let (mut before, mut after) = (node.clone(), node.clone());
        before.loads[load].until = later - 1;
        after.loads[load].start = later;
        self.consider(before, least, &mut children);
        self.consider(after, least, &mut children);
        self.push(children);
    }

    /// A node for each way of keeping apart what meets.
    fn decide(&mut self, node: &Node, meeting: &Meeting, least: Value) {
        let mut children = Vec::new();
        for order in self.frame.ways(node, meeting) {
            let mut child = node.clone();
            child.orders.push(order);
            self.consider(child, least, &mut children);
        }
        self.push(children);
    }

    /// A node for each next load of the kiln that is free first, and one that closes it.
    fn extend(&mut self, node: &Node, least: Value) {
        let open = (0..self.frame.twin.len()).filter(|&kiln| node.is_open(kiln));
        let Some(kiln) = open.min_by_key(|&kiln| (node.free[kiln], kiln)) else { return };
        let mut children = Vec::new();
        let mut closed = node.clone();
        closed.close(kiln);
        if node.first_of(kiln).is_none() {
            // Of kilns that are alike the first is used first.
            (0..self.frame.twin.len())
                .filter(|&other| self.frame.twin[other] == Some(kiln))
                .for_each(|other| closed.close(other));
        }
        self.consider(closed, least, &mut children);
        let mut part = node.left;
        while part != 0 {
            if let Some(number) = self.frame.kinds.of_mask(part, kiln)
                && self.frame.kinds.kind(number).latest >= node.free[kiln]
                && !self.frame.is_mirrored(node, kiln, part)
            {
                let mut child = node.clone();
                child.begin_load(self.frame.kinds.kind(number), number, kiln);
                self.consider(child, least, &mut children);
            }
            part = (part - 1) & node.left;
        }
        self.push(children);
    }

    /// Keeps a node when it has times and could still become the best.
    fn consider(&mut self, mut child: Node, least: Value, children: &mut Vec<Node>) {
        if !self.frame.settle(&mut child) {
            return;
        }
        self.frame.set_free(&mut child);
        child.bound = self.bound(&child);
        if child.bound < least {
            children.push(child);
        }
    }

    /// The most promising is looked at first.
    fn push(&mut self, mut children: Vec<Node>) {
        children.sort_by_key(|child| std::cmp::Reverse(child.bound));
        self.open.append(&mut children);
    }

    /// What no plan that follows from a node undercuts.
    fn bound(&mut self, node: &Node) -> Value {
        let kilns: Vec<(usize, Min)> = (0..node.free.len())
            .filter(|&kiln| node.is_open(kiln))
            .map(|kiln| (kiln, node.free[kiln]))
            .collect();
        let left = self.rest.of_all(&self.frame, node.left, &kilns);
        if left == NONE { NONE } else { sum(self.frame.cost(node), left) }
    }
}

impl<'m> Frame<'m> {
    /// Whether the same plan with like kilns changed about is looked at elsewhere.
    fn is_mirrored(&self, node: &Node, kiln: usize, mask: Mask) -> bool {
        let Some(twin) = self.twin[kiln] else { return false };
        node.first_of(kiln).is_none()
            && node.first_of(twin).is_none_or(|first| {
                let other = self.kinds.kind(node.loads[first].kind).mask;
                other.trailing_zeros() > mask.trailing_zeros()
            })
    }

    /// From when on the kilns of a node are free for a further load.
    fn set_free(&self, node: &mut Node) {
        for (free, spec) in node.free.iter_mut().zip(&self.model.kilns) {
            *free = spec.available;
        }
        for load in &node.loads {
            let over = load.over(node) + self.model.pour_min;
            let free = &mut node.free[load.kiln];
            *free = (*free).max(over + self.model.kilns[load.kiln].turnaround);
        }
        let ready = self.kinds.first_ready(node.left);
        for free in &mut node.free {
            *free = self.model.load_starts.next((*free).max(ready)).unwrap_or(Min::MAX / 2);
        }
    }

    fn schedule(&self, node: &Node, units: &[Unit]) -> Schedule<'m> {
        let mut schedule = self.stays.clone();
        for load in &node.loads {
            let kind = self.kinds.kind(load.kind);
            let mut draft = Draft { kiln: load.kiln, exactly: kind.pinned, ..Draft::default() };
            if kind.pinned.is_none() && !kind.extra.is_nothing() {
                // It may start later than it could because that counts less.
                draft.delay = load.start;
            }
            draft.units = self.kinds.members(kind.mask).collect();
            draft.derive(self.model, units);
            let mut pours = kind.labelled(&node.pours[load.pours()]);
            pours.sort_unstable();
            draft.order = pours.iter().map(|one| one.1).collect();
            let pours = pours.iter().map(|one| one.0).collect();
            schedule.put(draft, Timing { start: load.start, pours });
        }
        schedule
    }
}

/// The cost of two parts of one plan.
fn sum(a: Value, b: Value) -> Value {
    (a.0 + b.0, a.1 + b.1, a.2.max(b.2))
}

/// The spans into which no load of a kiln reaches: it is out of use, or holds a load that stays.
fn busy(stays: &Schedule<'_>, kiln: usize) -> Vec<(Min, Min)> {
    let spec = &stays.board.model.kilns[kiln];
    let held = stays.board.stays(kiln);
    let mut busy: Vec<(Min, Min)> = held
        .map(|(start, over)| (start - spec.turnaround, over + spec.turnaround))
        .chain(spec.out_of_use.iter().copied())
        .collect();
    busy.sort_unstable();
    busy
}

/// Whether two kilns are alike to every flask.
fn are_alike(model: &Model, one: usize, other: usize) -> bool {
    let (a, b) = (&model.kilns[one], &model.kilns[other]);
    (a.floor, a.cool_per_100c, a.turnaround, a.available)
        == (b.floor, b.cool_per_100c, b.turnaround, b.available)
        && model.burn_alike(one, other)
        && model.flasks.iter().all(|flask| {
            let accepted = flask.accepted.filter(|_| model.per_move > 0).map(|place| place.0);
            flask.may_use(one) == flask.may_use(other)
                && flask.kiln_from.get(one) == flask.kiln_from.get(other)
                && accepted != Some(one)
                && accepted != Some(other)
        })
}

#[cfg(test)]
mod tests;
