//! A firing computed for one flask in one kiln: curves, findings, verdict, the bench afterwards.

use foundry::heat::{
    BuildTargets, Burnout, Finding, FlaskBody, Grid, HeatRefusal, KelvinsPerHour, Kiln, Limits,
    OutOfKiln, Programme, Section, Segment, Severity, Shortest, Verdict, check, cool, judge,
    section_at, shortest_safe, simulate,
};
use foundry::quantity::{Celsius, Kelvins, Minutes};
use foundry::working::{Worked, Working};

use super::programme::{ROOM_C, SegmentKind, SegmentRow};

/// The margin on the limits in the search for the shortest programme.
pub(super) const MARGIN: f64 = 0.1;
/// How long the flask is followed on the bench, min.
const BENCH_MIN: f64 = 90.0;

/// A programme as it is kept: in whole minutes, rounded up.
pub(super) fn rows(programme: &Programme) -> Vec<SegmentRow> {
    programme
        .segments()
        .iter()
        .zip(programme.knots().windows(2))
        .map(|(segment, knots)| SegmentRow {
            kind: match segment {
                Segment::Ramp { .. } => SegmentKind::Ramp,
                Segment::Hold { .. } => SegmentKind::Hold,
            },
            target_c: knots[1].temperature.get().clamp(0.0, 1400.0),
            minutes: (knots[1].minute - knots[0].minute).get().ceil().clamp(1.0, 10_080.0) as i32,
        })
        .collect()
}

/// What a firing is computed for.
#[derive(Clone, Debug)]
pub(super) struct Question {
    pub(super) programme: Programme,
    pub(super) body: FlaskBody,
    pub(super) kiln: Kiln,
    pub(super) limits: Limits,
    pub(super) casting: Celsius,
    /// The moment of the section; the end without one.
    pub(super) minute: Option<f64>,
    /// How fast the kiln cools, for programmes that have to be built.
    pub(super) cooling_k_h: f64,
}

/// A computed firing.
#[derive(Clone, Debug)]
pub(super) struct Firing {
    pub(super) burnout: Burnout,
    pub(super) findings: Vec<Finding>,
    pub(super) verdict: Verdict,
    pub(super) lowest_c: f64,
    pub(super) working: Working,
}

impl Question {
    /// Curves, findings and verdict: what is wanted while a corner of the programme is moved.
    pub(super) fn answer(&self) -> Result<Firing, HeatRefusal> {
        let burnout = simulate(&self.body, &self.programme, &self.kiln, &Grid::default())?;
        let verdict = judge(&burnout, self.casting, &self.limits);
        let mut findings = check(&self.programme, &self.limits, &self.body, &self.kiln);
        findings.extend(verdict.findings.iter().cloned());
        findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        let lowest = self.casting + Kelvins::of(-self.limits.pour_error_most.get());
        Ok(Firing {
            lowest_c: lowest.get(),
            working: verdict.working.clone(),
            burnout,
            findings,
            verdict,
        })
    }

    /// How long until the outer pieces are below the casting window, on the bench in still air.
    pub(super) fn bench(&self, lowest_c: f64) -> Result<Worked<Option<Minutes>>, HeatRefusal> {
        let cooling = cool(
            &self.body,
            OutOfKiln::After(&self.programme, &self.kiln),
            Celsius::of(ROOM_C),
            Minutes::of(BENCH_MIN),
            &Grid::default(),
        )?;
        Ok(cooling.pour_within(Celsius::new(lowest_c)?))
    }

    /// The flask cut open at the moment that is asked for, or at the end.
    pub(super) fn section(&self) -> Result<(f64, Section), HeatRefusal> {
        let minute = self.minute.unwrap_or(f64::MAX).clamp(0.0, 10_080.0);
        let minute = minute.min(self.programme.total().get());
        let grid = Grid::default();
        let at = Minutes::of(minute);
        Ok((minute, section_at(&self.body, &self.programme, &self.kiln, &grid, at)?))
    }

    /// For each segment that ramps up: what it asks for, and the steepest that the kiln manages
    /// with its load at its hotter end, K/h.
    pub(super) fn ramps(&self) -> Vec<Option<(f64, f64)>> {
        let Kiln::Powered { kiln, flasks } = &self.kiln else { return Vec::new() };
        let load_j_k = f64::from(*flasks) * self.body.fired_capacity_j_k();
        self.programme
            .knots()
            .windows(2)
            .map(|knots| {
                let rise = (knots[1].temperature - knots[0].temperature).get();
                let asked = rise / (knots[1].minute - knots[0].minute).hours();
                (rise > 0.0).then(|| (asked, kiln.steepest_k_h(knots[1].temperature, load_j_k)))
            })
            .collect()
    }

    /// The shortest programme that is still safe.
    pub(super) fn shortest(&self) -> Result<Shortest, HeatRefusal> {
        let targets = BuildTargets {
            body: &self.body,
            limits: &self.limits,
            casting: self.casting,
            kiln: &self.kiln,
            heating: KelvinsPerHour::of(200.0),
            cooling: KelvinsPerHour::of(self.cooling_k_h),
        };
        shortest_safe(&self.programme, &targets, MARGIN)
    }
}

/// The word for a finding's weight.
pub(super) const fn weight(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "Note",
        Severity::Caution => "Caution",
        Severity::Danger => "Danger",
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
    use super::*;
    use crate::kilns::programme::as_run;

    #[test]
    fn a_programme_is_kept_as_it_is_run() {
        let kept = [
            SegmentRow { kind: SegmentKind::Ramp, target_c: 150.0, minutes: 60 },
            SegmentRow { kind: SegmentKind::Hold, target_c: 150.0, minutes: 120 },
            SegmentRow { kind: SegmentKind::Ramp, target_c: 730.0, minutes: 200 },
        ];
        assert_eq!(rows(&as_run(&kept).unwrap()), kept);
    }
}
