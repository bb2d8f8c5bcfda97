//! Proposing, accepting and changing plans.

use std::collections::HashMap;

use serde_json::{Value, json};
use sqlx::{PgConnection, PgPool};

use super::grid::Grid;
use super::instance::{self, Instance};
use super::store::{self, Begun};
use crate::audit;
use crate::clock::Moment;
use crate::id::{FamilyId, FlaskId, KilnId, PlanId};
use crate::json::plan::PlanJson;
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
        instance: &instance.json,
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
    let known = Known::read(conn, &proposed.instance).await?;
    for load in &plan.loads {
        if known.is_under_way(load.flasks.first().map(|flask| flask.id.as_str())) {
            // What is in the kiln stays there; its pours may be at other times.
            for placed in &load.flasks {
                let pour = plan.pours.iter().find(|pour| pour.flask == placed.id);
                if let (Some((flask, ..)), Some(pour)) = (known.flasks.get(&placed.id), pour) {
                    kiln_loads::move_pour(conn, *flask, grid.moment(pour.start_min)).await?;
                }
            }
            continue;
        }
        let planned =
            known.planned(load, &plan, &grid, i64::from(settings.load_min), signed.now)?;
        kiln_loads::plan_load(conn, &planned, proposed.id).await?;
    }
    // What was moved by hand stays where it was put when the next plan is made.
    for pin in proposed.instance["decisions"]["pins"].as_array().into_iter().flatten() {
        let flask = pin["flask"].as_str().and_then(|flask| known.flasks.get(flask));
        let kiln = pin["kiln"].as_str().and_then(|kiln| known.kilns.get(kiln));
        let start = pin["start_min"].as_i64().map(|minute| grid.moment(minute));
        if let (Some((flask, ..)), Some(kiln), Some(start)) = (flask, kiln, start) {
            store::pin(conn, *flask, *kiln, start, signed.person, signed.now).await?;
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
    flasks: HashMap<String, (FlaskId, String, String, String)>,
    kilns: HashMap<String, KilnId>,
    families: HashMap<String, FamilyId>,
    minutes: HashMap<(String, String), i64>,
}

impl Known {
    async fn read(conn: &mut PgConnection, instance: &Value) -> Result<Self, Fault> {
        let rows: Vec<(FlaskId, i32, String, String, String)> = sqlx::query_as(
            "SELECT f.id, f.number, f.state, b.name, t.size_class FROM flasks f
             JOIN burnout_families b ON b.id = f.family_id JOIN flask_types t ON t.id = f.flask_type_id
             WHERE f.state IN ('weighed', 'mixing', 'setting', 'in_kiln', 'hot', 'poured')",
        )
        .fetch_all(&mut *conn)
        .await?;
        let flasks = rows
            .into_iter()
            .map(|(id, number, state, family, size)| {
                (number.to_string(), (id, state, family, size))
            })
            .collect();
        let kilns: Vec<(String, KilnId)> =
            sqlx::query_as("SELECT name, id FROM kilns").fetch_all(&mut *conn).await?;
        let families: Vec<(String, FamilyId)> =
            sqlx::query_as("SELECT name, id FROM burnout_families").fetch_all(&mut *conn).await?;
        let mut minutes = HashMap::new();
        for family in instance["families"].as_array().into_iter().flatten() {
            for (size, programme) in family["programmes"].as_object().into_iter().flatten() {
                let total = programme["segments"]
                    .as_array()
                    .into_iter()
                    .flatten()
                    .filter_map(|segment| segment[1].as_i64())
                    .sum();
                minutes.insert(
                    (family["id"].as_str().unwrap_or_default().to_owned(), size.clone()),
                    total,
                );
            }
        }
        Ok(Self {
            flasks,
            kilns: kilns.into_iter().collect(),
            families: families.into_iter().collect(),
            minutes,
        })
    }

    fn is_under_way(&self, flask: Option<&str>) -> bool {
        flask
            .and_then(|flask| self.flasks.get(flask))
            .is_some_and(|(_, state, ..)| matches!(state.as_str(), "in_kiln" | "hot" | "poured"))
    }

    /// A load of the plan in the studio's terms; its programme is that of the
    /// member with the longest one (ties: greater family, then greater class).
    fn planned(
        &self,
        load: &crate::json::plan::LoadJson,
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
            let (id, state, family, size) = self.flasks.get(&placed.id).ok_or_else(changed)?;
            if !matches!(state.as_str(), "weighed" | "mixing" | "setting") {
                return Err(changed());
            }
            let pour =
                plan.pours.iter().find(|pour| pour.flask == placed.id).ok_or_else(changed)?;
            flasks.push((*id, placed.x_mm, placed.y_mm, grid.moment(pour.start_min)));
            let minutes = self.minutes.get(&(family.clone(), size.clone())).copied().unwrap_or(0);
            longest = longest.max(Some((minutes, family.as_str(), size.as_str())));
        }
        let (minutes, family, size) = longest.ok_or_else(changed)?;
        let starts = grid.moment(load.start_min);
        if starts.plus_minutes(30) < now {
            return Err(Refused::conflict("The first load of this plan should have begun already. Make the plan again; nothing was changed.").into());
        }
        Ok(PlannedLoad {
            kiln: *self.kilns.get(&load.kiln).ok_or_else(changed)?,
            family: *self.families.get(family).ok_or_else(changed)?,
            size_class: size.to_owned(),
            starts,
            held: grid.moment(load.start_min + load_min + minutes),
            flasks,
        })
    }
}
