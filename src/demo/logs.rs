//! What the controllers of the invented studio's kilns wrote down: firings computed for kilns a
//! little weaker than their plates say, one with an element gone, one with a door opened.

use foundry::heat::{Grid, Kiln, PoweredKiln, simulate};
use jiff::tz::TimeZone;

use super::DemoFault;
use crate::clock::Moment;
use crate::kilns::{KilnFacts, Mould, SegmentRow, as_run};

/// What happened in a firing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Firing {
    /// As planned.
    Plain,
    /// An element failed: the steep ramp stalls.
    Weak,
    /// Somebody opened the door during the first hold.
    Opened,
}

/// The log of a firing, a line every two minutes by the wall clock of a place.
pub(super) fn written(
    facts: &KilnFacts,
    mould: &Mould,
    segments: &[SegmentRow],
    starts: Moment,
    zone: &TimeZone,
    firing: Firing,
) -> Result<String, DemoFault> {
    let broken = |error: &dyn std::fmt::Display| DemoFault::Broken(error.to_string());
    let entered = facts.entered();
    let power = if firing == Firing::Weak { 0.58 } else { 0.93 };
    let real = PoweredKiln {
        power_w: entered.power_w * power,
        loss_w_k: entered.loss_w_k * 1.12,
        ..entered
    };
    let programme = as_run(segments).map_err(|error| broken(&error))?;
    let (body, _) = mould.body().map_err(|error| broken(&error))?;
    let kiln = Kiln::Powered { kiln: real, flasks: 2 };
    let run =
        simulate(&body, &programme, &kiln, &Grid::default()).map_err(|error| broken(&error))?;
    let mut log = String::from("date,time,set C,kiln C\n");
    for sample in &run.samples {
        let minute = sample.minute.get();
        let mut celsius = sample.kiln.get();
        if firing == Firing::Opened && (118.0..132.0).contains(&minute) {
            celsius -= 85.0 * (1.0 - (minute - 118.0) / 16.0);
        }
        // A thermocouple is a little uneasy.
        celsius += (minute * 0.7).sin() * 0.6;
        let at = zone.to_datetime(starts.plus_seconds((minute * 60.0) as i64).0);
        let set = sample.asked.get();
        log.push_str(&format!("{},{set:.0},{celsius:.1}\n", at.strftime("%Y-%m-%d,%H:%M")));
    }
    Ok(log)
}
