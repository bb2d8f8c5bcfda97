//! The earliest times of a node's loads, and what meets in them.

use crate::plan::calendar::Min;

use super::node::{Node, Order};
use super::{Frame, Value, sum};

/// Two things that cannot be at once.
#[derive(Debug, Clone)]
pub(super) enum Meeting {
    /// Two pours, by their numbers.
    Pours(usize, usize),
    /// More ramps than may be at one time: the load of each, its ramp's begin and end after the
    /// load's start; or that of one that stays.
    Ramps(Vec<Ramp>),
}

/// A ramp of a load, or of none when it stays.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ramp {
    load: Option<usize>,
    from: Min,
    to: Min,
}

impl Frame<'_> {
    /// Moves everything to its earliest time under what has been decided; false when something
    /// has none.
    ///
    /// All rules raise one time by others, so that rising from below ends at the least times that
    /// keep them all.
    pub(super) fn settle(&self, node: &mut Node) -> bool {
        loop {
            let mut moved = false;
            for number in 0..node.orders.len() {
                let (now, least) = match node.orders[number] {
                    Order::Loads { first, then, apart } => {
                        let least = node.loads[first].start.saturating_add(apart);
                        (&mut node.loads[then].start, least)
                    }
                    Order::LoadFrom { load, from } => (&mut node.loads[load].start, from),
                    Order::Pours { first, then, apart } => {
                        let least = node.pours[first].saturating_add(apart);
                        (&mut node.pours[then], least)
                    }
                };
                if *now < least {
                    *now = least;
                    moved = true;
                }
            }
            for load in 0..node.loads.len() {
                match self.settle_load(node, load) {
                    Some(load_moved) => moved |= load_moved,
                    None => return false,
                }
            }
            if !moved {
                return true;
            }
        }
    }

    /// Moves a load later until it keeps its own rules after the load before it; whether it
    /// moved, none when there is no time for it.
    fn settle_load(&self, node: &mut Node, number: usize) -> Option<bool> {
        let load = node.loads[number];
        let mut from = load.start;
        if let Some(before) = load.before {
            let over = node.loads[before].over(node) + self.model.pour_min;
            from = from.max(over + self.model.kilns[load.kiln].turnaround);
        }
        let pours = &mut node.pours[load.pours()];
        let kind = self.kinds.kind(load.kind);
        let (start, moved) = kind.settle(self, load.kiln, from, load.until, pours)?;
        node.loads[number].start = start;
        Some(moved || start != load.start)
    }

    /// A load that could count less if it started later, and where its span is to be divided.
    pub(super) fn cheaper_later(&self, node: &Node) -> Option<(usize, Min)> {
        node.loads.iter().enumerate().find_map(|(number, load)| {
            let extra = &self.kinds.kind(load.kind).extra;
            let later = extra.split(self.model, load.kiln, load.start, load.until)?;
            Some((number, later))
        })
    }

    /// The first thing that meets another at the node's times.
    pub(super) fn meeting(&self, node: &Node) -> Option<Meeting> {
        self.ramps_meeting(node).or_else(|| self.pours_meeting(node))
    }

    fn ramps_meeting(&self, node: &Node) -> Option<Meeting> {
        let model = self.model;
        if model.ramp_limit >= model.kilns.len() {
            return None;
        }
        let staying = self.ramps.iter().map(|&(from, to)| Ramp { load: None, from, to });
        let own = node.loads.iter().enumerate().flat_map(|(number, load)| {
            let programme = self.kinds.kind(load.kind).programme;
            let lit = load.start + model.load_min;
            model.burn(load.kiln, programme).ramps.iter().map(move |ramp| Ramp {
                load: Some(number),
                from: lit + ramp.0,
                to: lit + ramp.1,
            })
        });
        let mut ramps: Vec<Ramp> = staying.chain(own).collect();
        ramps.sort_by_key(|ramp| (ramp.from, ramp.load));
        let mut running: Vec<Ramp> = Vec::new();
        for ramp in ramps {
            running.retain(|other| other.to > ramp.from);
            running.push(ramp);
            if running.len() > model.ramp_limit && running.iter().any(|one| one.load.is_some()) {
                return Some(Meeting::Ramps(running));
            }
        }
        None
    }

    fn pours_meeting(&self, node: &Node) -> Option<Meeting> {
        let mut pours: Vec<(Min, usize, u16)> = Vec::with_capacity(node.pours.len());
        for load in &node.loads {
            let kind = self.kinds.kind(load.kind);
            let own = load.pours().zip(&kind.pours);
            pours.extend(own.map(|(number, spec)| (node.pours[number], number, spec.alloy)));
        }
        pours.sort_unstable();
        pours
            .windows(2)
            .find(|two| two[1].0 < two[0].0 + self.model.pour_gap(two[0].2, two[1].2))
            .map(|two| Meeting::Pours(two[0].1, two[1].1))
    }

    /// The ways of keeping apart what meets: every plan that follows from the node keeps to one.
    pub(super) fn ways(&self, node: &Node, meeting: &Meeting) -> Vec<Order> {
        match meeting {
            Meeting::Pours(a, b) => {
                let alloy = |pour: usize| {
                    node.loads.iter().find(|load| load.pours().contains(&pour)).map_or(0, |load| {
                        self.kinds.kind(load.kind).pours[pour - load.pours().start].alloy
                    })
                };
                let apart = self.model.pour_gap(alloy(*a), alloy(*b));
                vec![
                    Order::Pours { first: *a, then: *b, apart },
                    Order::Pours { first: *b, then: *a, apart },
                ]
            }
            Meeting::Ramps(ramps) => {
                let mut ways = Vec::new();
                for first in ramps {
                    for then in ramps {
                        match (first.load, then.load) {
                            (Some(a), Some(b)) if a != b => {
                                let start = |load: usize| node.loads[load].start;
                                // From the start of one to its ramp's end, from the ramp's begin
                                // back to the start of the other.
                                let apart = (first.to - start(a)) - (then.from - start(b));
                                ways.push(Order::Loads { first: a, then: b, apart });
                            }
                            (None, Some(load)) => {
                                let from = node.loads[load].start + first.to - then.from;
                                ways.push(Order::LoadFrom { load, from });
                            }
                            // What stays is not put off, and nothing that meets it can be over before.
                            _ => {}
                        }
                    }
                }
                ways
            }
        }
    }

    /// What the loads of a node cost at their times, or at the least later.
    pub(super) fn cost(&self, node: &Node) -> Value {
        let mut cost = self.stays_cost;
        for load in &node.loads {
            let kind = self.kinds.kind(load.kind);
            let late = kind.tardiness(&node.pours[load.pours()]);
            let (extra, _) = kind.extra.least(self.model, load.kiln, load.start, load.until);
            let over = i64::from(load.over(node) + self.model.pour_min);
            cost = sum(cost, (late + extra, 1, over));
        }
        cost
    }
}
