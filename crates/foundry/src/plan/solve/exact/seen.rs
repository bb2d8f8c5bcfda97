//! Beginnings of plans after which the same can follow: only the cheapest is gone on with.

use std::collections::HashMap;

use super::node::{Node, Order};
use super::{Frame, Value};

/// So many are remembered; later ones are gone on with unseen.
const MOST_SEEN: usize = 400_000;

/// Nodes by what can follow from them.
#[derive(Default)]
pub(super) struct Seen(HashMap<Vec<i32>, Value>);

impl Seen {
    /// Whether a node was seen after which the same can follow, at no greater cost.
    pub(super) fn is_beaten(&mut self, key: Vec<i32>, cost: Value) -> bool {
        if let Some(known) = self.0.get_mut(&key) {
            if *known <= cost {
                return true;
            }
            *known = cost;
        } else if self.0.len() < MOST_SEEN {
            self.0.insert(key, cost);
        }
        false
    }
}

impl Frame<'_> {
    /// All that bears on what follows from a node in which nothing meets; none when that cannot
    /// be told apart from what is over.
    ///
    /// A load is over when its last pour, with a change of alloy after it, ends before anything
    /// further can start: nothing further can meet it, so it will not move. Of loads that are not
    /// over everything counts; of the others only when their kilns are free, and what they cost.
    pub(super) fn what_follows(&self, node: &Node) -> Option<Vec<i32>> {
        let model = self.model;
        let kilns = 0..model.kilns.len();
        let next =
            kilns.clone().filter(|&kiln| node.is_open(kiln)).map(|kiln| node.free[kiln]).min()?;
        let over =
            |load: usize| node.loads[load].over(node) + model.pour_min + model.change_min <= next;
        let mut key = vec![i32::from(node.left)];
        for kiln in kilns {
            key.push(if node.is_open(kiln) { node.free[kiln] } else { -1 });
            // Of kilns that are alike the sets of the first loads are in order.
            let first = self.twin[kiln]
                .filter(|_| node.first_of(kiln).is_none())
                .and_then(|twin| node.first_of(twin));
            let least =
                first.map(|load| self.kinds.kind(node.loads[load].kind).mask.trailing_zeros());
            key.push(least.map_or(-1, |least| least as i32));
        }
        let mut lasting: Vec<usize> = (0..node.loads.len()).filter(|&load| !over(load)).collect();
        lasting.sort_unstable_by_key(|&load| (node.loads[load].kiln, node.loads[load].start));
        // Pours of lasting loads by their place in the key, so that orders of them can be told.
        let mut pours = Vec::new();
        for &number in &lasting {
            let load = &node.loads[number];
            key.extend([load.kiln as i32, load.kind as i32, load.start, load.until]);
            key.extend(&node.pours[load.pours()]);
            pours.extend(load.pours());
        }
        let place = |of: &[usize], number: usize| of.iter().position(|&one| one == number);
        let mut orders = Vec::new();
        for order in &node.orders {
            let (tag, first, then, apart) = match *order {
                Order::Loads { first, then, apart } => {
                    (0, place(&lasting, first), place(&lasting, then), apart)
                }
                Order::LoadFrom { load, from } => {
                    let load = place(&lasting, load);
                    (1, load, load, from)
                }
                Order::Pours { first, then, apart } => {
                    (2, place(&pours, first), place(&pours, then), apart)
                }
            };
            match (first, then) {
                (Some(first), Some(then)) => orders.push([tag, first as i32, then as i32, apart]),
                (None, None) => {}
                // What is over and what lasts hang together.
                _ => return None,
            }
        }
        orders.sort_unstable();
        orders.dedup();
        key.push(-2);
        key.extend(orders.iter().flatten());
        Some(key)
    }
}
