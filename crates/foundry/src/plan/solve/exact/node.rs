//! A beginning of a plan.

use crate::plan::calendar::Min;

use super::kind::Kind;
use super::{Mask, Value};

/// A load of a node.
#[derive(Debug, Clone, Copy)]
pub(super) struct Placed {
    pub(super) kiln: usize,
    /// Number of its kind.
    pub(super) kind: usize,
    /// The load before it in its kiln.
    pub(super) before: Option<usize>,
    /// Its earliest start, and its latest.
    pub(super) start: Min,
    pub(super) until: Min,
    /// Where its pours stand among those of the node, and how many they are.
    first_pour: usize,
    count: usize,
}

impl Placed {
    pub(super) fn pours(&self) -> std::ops::Range<usize> {
        self.first_pour..self.first_pour + self.count
    }

    /// The start of its last pour.
    pub(super) fn over(&self, node: &Node) -> Min {
        node.pours[self.pours()].iter().copied().max().unwrap_or(self.start)
    }
}

/// A decision about two things that met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Order {
    /// One load starts at least so long after the start of another.
    Loads { first: usize, then: usize, apart: Min },
    /// A load starts no earlier.
    LoadFrom { load: usize, from: Min },
    /// One pour starts at least so long after the start of another.
    Pours { first: usize, then: usize, apart: Min },
}

/// A beginning of a plan, everything at its earliest.
#[derive(Debug, Clone)]
pub(super) struct Node {
    pub(super) loads: Vec<Placed>,
    /// Starts of pours, load by load, in the order of their kinds.
    pub(super) pours: Vec<Min>,
    pub(super) orders: Vec<Order>,
    /// Flasks in no load yet.
    pub(super) left: Mask,
    /// Kilns that take further loads, as bits.
    open: u8,
    /// From when on each kiln is free.
    pub(super) free: Vec<Min>,
    /// What no plan that follows undercuts.
    pub(super) bound: Value,
}

impl Node {
    pub(super) fn new(left: Mask, kilns: usize) -> Self {
        Self {
            loads: Vec::new(),
            pours: Vec::new(),
            orders: Vec::new(),
            left,
            open: u8::MAX,
            free: vec![0; kilns],
            bound: Value::default(),
        }
    }

    pub(super) fn is_open(&self, kiln: usize) -> bool {
        self.open >> kiln & 1 == 1
    }

    pub(super) fn close(&mut self, kiln: usize) {
        self.open &= !(1 << kiln);
    }

    /// The first load of a kiln.
    pub(super) fn first_of(&self, kiln: usize) -> Option<usize> {
        self.loads.iter().position(|load| load.kiln == kiln)
    }

    /// Adds a load to a kiln.
    pub(super) fn begin_load(&mut self, kind: &Kind, number: usize, kiln: usize) {
        self.left &= !kind.mask;
        let count = kind.pours.len();
        self.loads.push(Placed {
            kiln,
            kind: number,
            before: self.loads.iter().rposition(|load| load.kiln == kiln),
            start: Min::MIN,
            until: kind.latest,
            first_pour: self.pours.len(),
            count,
        });
        self.pours.resize(self.pours.len() + count, Min::MIN);
    }
}
