//! What is settled before planning: loads under way, pins, and what cannot be kept.

use std::collections::BTreeMap;

use crate::plan::calendar::Min;
use crate::plan::decisions::{Pin, UnderWay};
use crate::plan::floor::Floors;
use crate::plan::model::{FlaskNo, Model};
use crate::plan::outcome::{Reason, UnkeptPin, Unplanned};
use crate::plan::problem::Problem;

use super::board::Timing;
use super::draft::{Draft, Place, Unit, UnitNo, sort_pours};
use super::refusal::refusal;
use super::schedule::Schedule;

/// What is settled.
pub(super) struct Settled<'m> {
    /// What can be planned.
    pub(super) units: Vec<Unit>,
    /// Loads under way and pinned loads.
    pub(super) schedule: Schedule<'m>,
    pub(super) unplanned: Vec<Unplanned>,
    pub(super) unkept: Vec<UnkeptPin>,
}

impl<'m> Settled<'m> {
    /// The loads under way alone.
    pub(super) fn under_way(&self) -> Schedule<'m> {
        let mut schedule = self.schedule.clone();
        for number in (0..schedule.loads.len()).rev() {
            if !schedule.loads[number].0.under_way {
                schedule.remove(number);
            }
        }
        schedule
    }
}

/// Reads the decisions of a problem.
pub(super) fn settle<'m>(problem: &Problem, model: &'m Model, floors: &mut Floors) -> Settled<'m> {
    let mut settling = Settling {
        problem,
        model,
        flask_no: (0..).zip(&problem.flasks).map(|(n, f)| (f.id.as_str(), n)).collect(),
        settled: vec![None; problem.flasks.len()],
        out: Settled {
            units: Vec::new(),
            schedule: Schedule::new(model),
            unplanned: Vec::new(),
            unkept: Vec::new(),
        },
    };
    let under_way = &problem.decisions.under_way;
    for pour in under_way.iter().flat_map(|load| &load.poured) {
        if let Some(&flask) = settling.flask_no.get(pour.flask.as_str()) {
            settling.out.schedule.board.pour(flask, pour.start_min as Min);
        }
    }
    for load in under_way {
        settling.under_way(load);
    }
    settling.pins(floors);
    settling.out
}

struct Settling<'p, 'm> {
    problem: &'p Problem,
    model: &'m Model,
    flask_no: BTreeMap<&'p str, FlaskNo>,
    /// Of flasks that need no more thought: the load under way, or none when left out.
    settled: Vec<Option<Option<usize>>>,
    out: Settled<'m>,
}

impl Settling<'_, '_> {
    fn leave_out(&mut self, flask: FlaskNo, reason: Reason) {
        self.settled[usize::from(flask)] = Some(None);
        let flask = self.problem.flasks[usize::from(flask)].id.clone();
        self.out.unplanned.push(Unplanned { flask, reason });
    }

    /// Pours what is left of a load that is in a kiln.
    fn under_way(&mut self, load: &UnderWay) {
        let model = self.model;
        let Some(kiln) = self.problem.kilns.iter().position(|kiln| kiln.id == load.kiln) else {
            return;
        };
        let number = |id: &String| self.flask_no.get(id.as_str()).copied();
        let members: Vec<FlaskNo> = load.flasks.iter().filter_map(number).collect();
        let mut poured: Vec<(Min, FlaskNo)> = load
            .poured
            .iter()
            .filter_map(|pour| Some((pour.start_min as Min, number(&pour.flask)?)))
            .collect();
        poured.sort_unstable();
        let spec = |flask: FlaskNo| &model.flasks[usize::from(flask)];
        let mut left: Vec<FlaskNo> =
            members.iter().copied().filter(|f| poured.iter().all(|one| one.1 != *f)).collect();
        let mut draft = Draft {
            kiln,
            exactly: Some(load.start_min as Min),
            under_way: true,
            programme: members.iter().map(|&f| spec(f).programme).max().unwrap_or(0),
            ..Draft::default()
        };
        let mut pours_from = Min::MIN;
        if let Some(&(at, last)) = poured.last() {
            let too_hot: Vec<FlaskNo> =
                left.iter().copied().filter(|&f| spec(f).temp_c > spec(last).temp_c).collect();
            for flask in too_hot {
                left.retain(|&one| one != flask);
                self.leave_out(flask, Reason::Decisions(format!(
                    "its load in kiln {} has cooled to {} °C for an earlier pour, and it is cast at {} °C",
                    load.kiln, spec(last).temp_c, spec(flask).temp_c
                )));
            }
            if let Some(&next) = left.iter().max_by_key(|&&f| spec(f).temp_c) {
                let cooling = model.cooling(kiln, spec(last).temp_c, spec(next).temp_c);
                pours_from = at + model.pour_min + cooling;
            }
        }
        sort_pours(model, &mut left);
        let mut timing = Timing { start: load.start_min as Min, pours: Vec::new() };
        draft.order = left;
        if !draft.order.is_empty() {
            let mut wanted = draft.wanted();
            wanted.pours_from = pours_from;
            if !self.out.schedule.board.earliest(&wanted, &mut timing) {
                for flask in members {
                    self.leave_out(flask, Reason::Decisions(format!(
                        "kiln {} is said to hold its load from minute {}, and another load or no staffed hours leave no pour for it",
                        load.kiln, load.start_min
                    )));
                }
                return;
            }
        }
        let board = &mut self.out.schedule.board;
        for (&flask, &at) in draft.order.iter().zip(&timing.pours) {
            board.pour(flask, at);
        }
        for (position, &(at, flask)) in poured.iter().enumerate() {
            draft.order.insert(position, flask);
            timing.pours.insert(position, at);
        }
        for &flask in &draft.order {
            self.settled[usize::from(flask)] = Some(Some(self.out.schedule.loads.len()));
        }
        self.pins_against(load);
        draft.sizes = draft.order.iter().map(|&flask| spec(flask).size).collect();
        draft.sizes.sort_unstable();
        if !draft.order.is_empty() {
            self.out.schedule.board.occupy(kiln, draft.programme, &timing);
            self.out.schedule.loads.push((draft, timing));
        }
    }

    /// Names the pins that say otherwise than a load under way.
    fn pins_against(&mut self, load: &UnderWay) {
        for pin in &self.problem.decisions.pins {
            let Pin::Load { flask, kiln, start_min } = pin else { continue };
            if load.flasks.contains(flask) && (kiln, *start_min) != (&load.kiln, load.start_min) {
                let why = format!(
                    "it is under way in kiln {} since minute {}",
                    load.kiln, load.start_min
                );
                self.out.unkept.push(UnkeptPin { pin: pin.clone(), why });
            }
        }
    }

    /// Makes units of what is left to plan, pinned loads first.
    fn pins(&mut self, floors: &mut Floors) {
        let mut groups = self.groups();
        let mut pinned: BTreeMap<(Min, usize), Vec<UnitNo>> = BTreeMap::new();
        for group in &mut groups {
            group.retain(|&flask| self.settled[usize::from(flask)].is_none());
            if group.is_empty() {
                continue;
            }
            match self.place_of(group) {
                Err(why) => self.unkept_group(group, &why),
                Ok(place) => {
                    if let Some(reason) = self.refused(floors, group, place) {
                        let several = group.len() > 1 || place.is_some();
                        match reason {
                            Reason::Decisions(why) if several => self.unkept_group(group, &why),
                            reason => self.leave_out_all(group, &reason),
                        }
                        continue;
                    }
                    let unit = self.out.units.len() as UnitNo;
                    self.out.units.push(Unit::new(self.model, group.clone()));
                    if let Some((kiln, start)) = place {
                        pinned.entry((start, kiln)).or_default().push(unit);
                    }
                }
            }
        }
        for ((start, kiln), units) in pinned {
            self.pinned_load(floors, kiln, start, &units);
        }
        self.drop_left_out_units();
    }

    /// Flasks that go together; a flask without such a pin is alone.
    fn groups(&mut self) -> Vec<Vec<FlaskNo>> {
        let mut group_of: Vec<usize> = (0..self.problem.flasks.len()).collect();
        for pin in &self.problem.decisions.pins {
            let Pin::Together { flask, with } = pin else { continue };
            let number = |id: &String| self.flask_no.get(id.as_str()).copied();
            let (Some(a), Some(b)) = (number(flask), number(with)) else { continue };
            if self.settled[usize::from(a)] != self.settled[usize::from(b)] {
                let why =
                    "one of the two is under way or left out, the other is not with it".to_owned();
                self.out.unkept.push(UnkeptPin { pin: pin.clone(), why });
                continue;
            }
            let (a, b) = (group_of[usize::from(a)], group_of[usize::from(b)]);
            group_of.iter_mut().filter(|one| **one == b).for_each(|one| *one = a);
        }
        let mut groups: BTreeMap<usize, Vec<FlaskNo>> = BTreeMap::new();
        for (flask, group) in (0..).zip(group_of) {
            groups.entry(group).or_default().push(flask);
        }
        groups.into_values().collect()
    }

    fn pins_of<'a>(&'a self, group: &'a [FlaskNo]) -> impl Iterator<Item = &'a Pin> {
        let id = |flask: &FlaskNo| self.problem.flasks[usize::from(*flask)].id.as_str();
        self.problem.decisions.pins.iter().filter(move |pin| match pin {
            Pin::Load { flask, .. } => group.iter().any(|one| id(one) == flask),
            Pin::Together { flask, with } => {
                group.iter().any(|one| id(one) == flask) || group.iter().any(|one| id(one) == with)
            }
        })
    }

    /// The one place a group is pinned to.
    fn place_of(&self, group: &[FlaskNo]) -> Result<Option<Place>, String> {
        let mut place: Option<(&str, i64)> = None;
        for pin in self.pins_of(group) {
            let Pin::Load { kiln, start_min, .. } = pin else { continue };
            match place {
                Some(other) if other != (kiln.as_str(), *start_min) => {
                    return Err(format!(
                        "pinned both to kiln {} at minute {} and to kiln {kiln} at minute {start_min}",
                        other.0, other.1
                    ));
                }
                _ => place = Some((kiln, *start_min)),
            }
        }
        Ok(place.and_then(|(id, start)| {
            let kiln = self.problem.kilns.iter().position(|kiln| kiln.id == id)?;
            Some((kiln, start as Min))
        }))
    }

    /// Why a group cannot be planned even alone.
    fn refused(
        &self,
        floors: &mut Floors,
        group: &[FlaskNo],
        place: Option<Place>,
    ) -> Option<Reason> {
        for &flask in group {
            if let Some(reason) = refusal(self.problem, self.model, flask) {
                return Some(reason);
            }
        }
        let unit = [Unit::new(self.model, group.to_vec())];
        if let Some((kiln, start)) = place {
            let mut draft = Draft::new(self.model, &unit, kiln, 0);
            draft.exactly = Some(start);
            return (!draft.possible(self.model, floors, &unit)).then(|| {
                Reason::Decisions(format!(
                    "kiln {} at minute {start} is against its start window, its height, a ban, or the others it is pinned with",
                    self.problem.kilns[kiln].id
                ))
            });
        }
        let fits_somewhere = (0..self.model.kilns.len())
            .any(|kiln| Draft::new(self.model, &unit, kiln, 0).possible(self.model, floors, &unit));
        (!fits_somewhere).then(|| {
            Reason::Decisions(
                "the flasks pinned together cannot share a load: families, start windows, casting temperatures or the floor are against it"
                    .to_owned(),
            )
        })
    }

    fn leave_out_all(&mut self, group: &[FlaskNo], reason: &Reason) {
        for &flask in group {
            self.leave_out(flask, reason.clone());
        }
    }

    /// Leaves a group out and names its pins.
    fn unkept_group(&mut self, group: &[FlaskNo], why: &str) {
        let pins: Vec<Pin> = self.pins_of(group).cloned().collect();
        for pin in pins {
            if self.out.unkept.iter().all(|one| one.pin != pin) {
                self.out.unkept.push(UnkeptPin { pin, why: why.to_owned() });
            }
        }
        self.leave_out_all(group, &Reason::Decisions(why.to_owned()));
    }

    /// Puts pinned units into their load, as many as go together.
    fn pinned_load(&mut self, floors: &mut Floors, kiln: usize, start: Min, units: &[UnitNo]) {
        let model = self.model;
        let mut load: Option<(Draft, Timing)> = None;
        for &unit in units {
            let mut draft = match &load {
                Some((draft, _)) => draft.clone(),
                None => Draft { kiln, exactly: Some(start), ..Draft::default() },
            };
            draft.units.push(unit);
            draft.derive(model, &self.out.units);
            let mut timing = Timing::default();
            if draft.possible(model, floors, &self.out.units)
                && self.out.schedule.board.earliest(&draft.wanted(), &mut timing)
            {
                self.out.units[usize::from(unit)].place = Some((kiln, start));
                load = Some((draft, timing));
                continue;
            }
            let why = format!(
                "the load of kiln {} at minute {start} cannot take it: staffed hours, the longest hold, another settled load, ramps, or the others pinned there are against it",
                self.problem.kilns[kiln].id
            );
            let group = self.out.units[usize::from(unit)].flasks.clone();
            self.unkept_group(&group, &why);
        }
        if let Some((draft, timing)) = load {
            self.out.schedule.put(draft, timing);
        }
    }

    /// Units that were left out after all are taken from the list.
    fn drop_left_out_units(&mut self) {
        let mut number = vec![0; self.out.units.len()];
        let mut kept = Vec::new();
        for (old, unit) in std::mem::take(&mut self.out.units).into_iter().enumerate() {
            number[old] = kept.len() as UnitNo;
            if !unit.flasks.iter().any(|&flask| self.settled[usize::from(flask)].is_some()) {
                kept.push(unit);
            }
        }
        self.out.units = kept;
        for (draft, _) in &mut self.out.schedule.loads {
            draft.units.iter_mut().for_each(|unit| *unit = number[usize::from(*unit)]);
        }
    }
}
