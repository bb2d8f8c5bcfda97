//! Whether one load keeps its rules.

use super::{Judge, PLACE_TOLERANCE_MM, Rule};
use crate::plan::outcome::Load;
use crate::plan::problem::{Flask, Kiln};

impl Judge<'_> {
    /// Rules 2 to 10 for one load.
    pub(super) fn load(&mut self, load: &Load) {
        let name = format!("load of kiln {} at {}", load.kiln, load.start_min);
        let kiln = self.kilns[load.kiln.as_str()];
        let members = self.members(load);
        if !self.under_way(load) {
            self.floor(load, kiln, &members, &name);
            for flask in &members {
                let wetted = self.problem.decisions.rewet.iter().find(|one| one.flask == flask.id);
                let latest =
                    wetted.map(|one| one.until_min).or(flask.latest_start_min).unwrap_or(i64::MAX);
                if load.start_min < flask.ready_min || load.start_min > latest {
                    let what = format!("{name}: outside the start window of {}", flask.id);
                    self.broken(Rule::StartWindow, what);
                }
            }
            if !self.staffed(load.start_min, self.problem.load_min) {
                self.broken(Rule::Staffed, format!("{name}: loading is not in staffed hours"));
            }
            if load.start_min < kiln.available_min {
                self.broken(Rule::Staffed, format!("{name}: the kiln is not available yet"));
            }
            for (position, a) in members.iter().enumerate() {
                for b in &members[..position] {
                    let mixed = |pair: &[String; 2]| {
                        (pair[0] == a.family && pair[1] == b.family)
                            || (pair[1] == a.family && pair[0] == b.family)
                    };
                    if self.problem.incompatible.iter().any(mixed) {
                        let what = format!("{name}: {} and {} may not share a load", a.id, b.id);
                        self.broken(Rule::Families, what);
                    }
                }
            }
        }
        self.pours_of(load, kiln, &members, &name);
    }

    /// Rule 4.
    fn floor(&mut self, load: &Load, kiln: &Kiln, members: &[&Flask], name: &str) {
        let clearance = self.problem.clearance;
        for (position, (placed, flask)) in load.flasks.iter().zip(members).enumerate() {
            if flask.height_mm + clearance.top_mm > kiln.height_mm {
                self.broken(Rule::Floor, format!("{name}: {} is too tall", flask.id));
            }
            let (x, y) = (placed.x_mm, placed.y_mm);
            let from_wall = flask.diameter_mm / 2.0 + clearance.wall_mm - PLACE_TOLERANCE_MM;
            let inside = x >= from_wall
                && y >= from_wall
                && kiln.width_mm - x >= from_wall
                && kiln.depth_mm - y >= from_wall;
            if !inside {
                self.broken(Rule::Floor, format!("{name}: {} is too near a wall", flask.id));
            }
            for (other, flask_2) in load.flasks[..position].iter().zip(members) {
                let apart = (x - other.x_mm).hypot(y - other.y_mm);
                let needed = (flask.diameter_mm + flask_2.diameter_mm) / 2.0 + clearance.flask_mm;
                // Written so that a place that is not a number is too near.
                let far_enough = apart >= needed - PLACE_TOLERANCE_MM;
                if !far_enough {
                    let what = format!("{name}: {} and {} are too near", flask.id, flask_2.id);
                    self.broken(Rule::Floor, what);
                }
            }
        }
    }

    /// Rules 7 to 10.
    fn pours_of(&mut self, load: &Load, kiln: &Kiln, members: &[&Flask], name: &str) {
        let end = self.end(load);
        let starts: Vec<i64> =
            members.iter().map(|flask| self.pour_start[flask.id.as_str()]).collect();
        let first = starts.iter().copied().min().unwrap_or(end);
        let last = starts.iter().copied().max().unwrap_or(end);
        let under_way = self.under_way(load);
        for (flask, &start) in members.iter().zip(&starts) {
            if start < end && !self.poured.contains(flask.id.as_str()) {
                let what = format!("{name}: {} is poured at {start}, before {end}", flask.id);
                self.broken(Rule::PourAfterProgramme, what);
            }
        }
        if first > end + self.problem.max_hold_min && !under_way {
            let what = format!("{name}: ends at {end}, but pours only at {first}");
            self.broken(Rule::Hold, what);
        }
        if last - first > self.problem.max_pour_span_min && !under_way {
            self.broken(Rule::Span, format!("{name}: pours from {first} to {last}"));
        }
        for (a, &a_start) in members.iter().zip(&starts) {
            for (b, &b_start) in members.iter().zip(&starts) {
                let colder = a.cast_temp_c - b.cast_temp_c;
                // ceil(colder / 100 × minutes), in whole numbers.
                let cool = (colder * kiln.cool_min_per_100c + 99).div_euclid(100);
                let happened = self.poured.contains(b.id.as_str());
                if colder > 0 && !happened && b_start < a_start + self.problem.pour_min + cool {
                    let what = format!("{name}: {} is poured too soon after {}", b.id, a.id);
                    self.broken(Rule::Cooling, what);
                }
            }
        }
    }
}
