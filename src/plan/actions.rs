//! Proposing, accepting and changing plans.

use std::collections::HashMap;

use serde_json::json;
use sqlx::{PgConnection, PgPool};

use super::begun::BegunLoads;
use super::grid::Grid;
use super::instance::{self, Instance};
use super::store::{self, Begun};
use super::view::{self, NamedFlask};
use crate::audit;
use crate::clock::Moment;
use crate::id::{FamilyId, KilnId, PlanId};
use crate::json::plan::{InstanceJson, LoadJson, LongerJson, PinJson, PlanJson};
use crate::kiln_loads::{self, PlannedLoad};
use crate::people::Signed;
use crate::studio::Settings;
use crate::web::{Fault, Refused};

/// Begins a plan and thinks in the background; the page is told when it is there.
pub(super) async fn propose(
    pool: &PgPool,
    conn: &mut PgConnection,
    signed: &Signed,
    seconds: f64,
) -> Result<(PlanId, Instance), Fault> {
    let instance = instance::read(pool, signed.now).await?;
    if instance.waiting == 0 {
        let mut words = "No flask waits for a kiln. Weigh a tree or fill a flask first; then there is something to plan.".to_owned();
        for note in &instance.notes {
            words = format!("{words} {note}");
        }
        return Err(Refused::conflict(words).into());
    }
    let begun = Begun {
        day_zero: instance.grid.day_zero,
        instance: &instance.written,
        seconds,
        notes: &instance.notes,
    };
    let plan = store::begin(conn, begun, signed.person, signed.now).await?;
    Ok((plan, instance))
}

/// Turns a proposal into planned loads; those planned before give way.
pub(super) async fn accept(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
) -> Result<(), Fault> {
    let Some(proposed) = store::lock_proposed(conn, number).await? else {
        return Err(Refused::conflict("This proposal is no longer open: somebody accepted, discarded or replaced it. Look at the plan as it is now.").into());
    };
    let plan: PlanJson = serde_json::from_value(proposed.result.unwrap_or_default())?;
    let settings = Settings::load(&mut *conn).await?;
    let grid = Grid::on(proposed.day_zero, settings.zone());
    kiln_loads::cancel_planned(conn, signed.now).await?;
    // Whoever starts a load holds its row, so from here on none is started.
    let begun = BegunLoads::since(conn, proposed.made_at).await?;
    if let Some(why) = begun.outdates(&plan, &grid, proposed.made_at) {
        return Err(
            Refused::conflict(format!("{why} Make a plan anew; nothing was changed.")).into()
        );
    }
    let known = Known::read(conn, &proposed.instance).await?;
    for load in &plan.loads {
        if begun.of(load).is_some() {
            // What is in the kiln stays there; its pours may be at other times.
            for placed in &load.flasks {
                let pour = plan.pours.iter().find(|pour| pour.flask == placed.id);
                if let (Some(flask), Some(pour)) = (known.flasks.get(&placed.id), pour) {
                    kiln_loads::move_pour(conn, flask.id, grid.moment(pour.start_min)).await?;
                }
            }
            continue;
        }
        let planned =
            known.planned(load, &plan, &grid, i64::from(settings.load_min), signed.now)?;
        kiln_loads::plan_load(conn, &planned, proposed.id).await?;
    }
    // What was moved by hand stays where it was put when the next plan is made.
    for pin in &proposed.instance.decisions.pins {
        let PinJson::Load { flask, kiln, start_min } = pin else { continue };
        if let (Some(flask), Some(kiln)) = (known.flasks.get(flask), known.kilns.get(kiln)) {
            let start = grid.moment(*start_min);
            store::pin(conn, flask.id, *kiln, start, signed.person, signed.now).await?;
        }
    }
    store::accept(conn, proposed.id, signed.person, signed.now).await?;
    let detail = json!({ "loads": plan.loads.len(), "unplanned": plan.unplanned.len() });
    audit::note(
        conn,
        signed.now,
        Some(signed.person),
        "accepted",
        &format!("plan:{number}"),
        detail,
    )
    .await?;
    Ok(())
}

/// What the names in an instance stand for.
struct Known {
    flasks: HashMap<String, NamedFlask>,
    kilns: HashMap<String, KilnId>,
    families: HashMap<String, FamilyId>,
    minutes: HashMap<(String, String), i64>,
    /// What kilns take longer than the programmes.
    longer: Vec<LongerJson>,
}

impl Known {
    async fn read(conn: &mut PgConnection, instance: &InstanceJson) -> Result<Self, Fault> {
        let flasks = view::flasks_by_number(conn).await?;
        let kilns = view::kilns_by_name(conn).await?;
        let families = view::families_by_name(conn).await?;
        let mut minutes = HashMap::new();
        for family in &instance.families {
            for (size, programme) in &family.programmes {
                let total = programme.segments.iter().map(|(_, minutes)| minutes).sum();
                minutes.insert((family.id.clone(), size.clone()), total);
            }
        }
        let longer = instance.decisions.longer.clone();
        Ok(Self { flasks, kilns, families, minutes, longer })
    }

    /// A load of the plan in the studio's terms; its programme is that of the
    /// member with the longest one (ties: greater family, then greater class).
    fn planned(
        &self,
        load: &LoadJson,
        plan: &PlanJson,
        grid: &Grid,
        load_min: i64,
        now: Moment,
    ) -> Result<PlannedLoad, Fault> {
        let changed = || {
            Fault::from(Refused::conflict(
                "The studio has changed since this plan was made: one of its flasks or kilns is no longer there. Make the plan again; nothing was changed.",
            ))
        };
        let mut flasks = Vec::with_capacity(load.flasks.len());
        let mut longest: Option<(i64, &str, &str)> = None;
        for placed in &load.flasks {
            let flask = self.flasks.get(&placed.id).ok_or_else(changed)?;
            if !matches!(flask.state.as_str(), "weighed" | "mixing" | "setting") {
                return Err(changed());
            }
            let pour =
                plan.pours.iter().find(|pour| pour.flask == placed.id).ok_or_else(changed)?;
            flasks.push((flask.id, placed.x_mm, placed.y_mm, grid.moment(pour.start_min)));
            let (family, size) = (&flask.family, &flask.size_class);
            let minutes = self.minutes.get(&(family.clone(), size.clone())).copied().unwrap_or(0);
            longest = longest.max(Some((minutes, family.as_str(), size.as_str())));
        }
        let (minutes, family, size) = longest.ok_or_else(changed)?;
        let starts = grid.moment(load.start_min);
        if starts.plus_minutes(30) < now {
            return Err(Refused::conflict("The first load of this plan should have begun already. Make the plan again; nothing was changed.").into());
        }
        let meant = |one: &&LongerJson| {
            one.kiln == load.kiln && one.family == family && one.size_class == size
        };
        let longer = self.longer.iter().find(meant).map_or(0, |one| one.minutes);
        Ok(PlannedLoad {
            kiln: *self.kilns.get(&load.kiln).ok_or_else(changed)?,
            family: *self.families.get(family).ok_or_else(changed)?,
            size_class: size.to_owned(),
            starts,
            held: grid.moment(load.start_min + load_min + minutes + longer),
            longer_min: i32::try_from(longer).unwrap_or(i32::MAX),
            flasks,
        })
    }
}
