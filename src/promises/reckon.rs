//! The days of an order, reckoned from the studio as it stands.

use foundry::plan::{Flask, Plan, openings};
use foundry::promise::{Group, Habits, Progress, Way, forecast};
use sqlx::PgPool;

use super::habits::Records;
use super::model::{self, Outlook};
use super::progress;
use crate::clock::{Day, Moment};
use crate::id::{OrderId, PieceId};
use crate::json::working::WorkingJson;
use crate::pieces::Stage;
use crate::plan::{self, Standing};
use crate::web::Fault;

/// How far ahead kiln and furnace are looked at.
const DAYS_AHEAD: i64 = 150;
/// So many runs give a chance of nine in ten to within 0.7 in a hundred.
const RUNS: u32 = 2_000;
/// A day as likely kept as missed is found with fewer, and is asked for many ways on at once.
const RUNS_OF_A_DAY: u32 = 500;
/// A day that is as likely kept as missed.
const EVEN: f64 = 0.5;
/// Any number; always the same, so that the same studio is told the same day.
const SEED: u64 = 1;

/// What is asked about an order.
#[derive(Clone, Copy, Debug, Default)]
pub struct Asked {
    /// A day whose chance is wanted.
    pub day: Option<Day>,
    /// Spares of each line, when nothing has begun yet.
    pub spares: u32,
    /// Whether to tell what hurrying would give.
    pub hurried: bool,
}

/// What an order is reckoned beside.
struct Beside {
    standing: Standing,
    /// The flask its pieces would likely go into, and how long that sets; none when none is told.
    flask: Option<(Flask, i64)>,
    habits: Habits,
}

impl Beside {
    async fn read(pool: &PgPool, order: OrderId, now: Moment) -> Result<Self, Fault> {
        let (standing, flask, records) = tokio::try_join!(
            plan::standing(pool, now, DAYS_AHEAD),
            async { Ok(progress::likely_flask(pool, order).await?) },
            async { Ok(Records::read(pool, now).await?) },
        )?;
        let pour_min = standing.problem.pour_min;
        let habits = records.habits(&standing.grid, standing.calendar(), pour_min);
        Ok(Self { standing, flask, habits })
    }
}

/// The days of an order; why none can be told is part of what is told.
pub async fn reckon(
    pool: &PgPool,
    order: OrderId,
    now: Moment,
    asked: Asked,
) -> Result<Outlook, Fault> {
    let Beside { standing, flask, habits } = match Beside::read(pool, order, now).await {
        Ok(beside) => beside,
        Err(Fault::Refused(refused)) => return Ok(Outlook::refused(refused.message)),
        Err(fault) => return Err(fault),
    };
    let pour_min = standing.problem.pour_min;
    let pieces =
        progress::of_order(pool, order, asked.spares, &standing.grid, pour_min, now).await?;
    let Some((flask, bench_set_min)) = flask else {
        return Ok(Outlook::refused(
            "there is no line on the order, or no flask and programme are told yet in the studio's settings"
                .to_owned(),
        ));
    };
    let work = move || {
        let problem = &standing.problem;
        let words = |faults: Vec<foundry::plan::ProblemFault>| {
            Outlook::refused(faults.iter().map(ToString::to_string).collect::<Vec<_>>().join(" "))
        };
        let beside = match openings(problem, &standing.plan, &flask) {
            Ok(found) => found,
            Err(faults) => return words(faults),
        };
        let way = Way {
            now_min: standing.now_min,
            calendar: standing.calendar(),
            habits: &habits,
            bench_set_min,
            openings: &beside,
            rush: false,
        };
        let found = match forecast(&pieces.groups, &pieces.needed, &way, RUNS, SEED) {
            Ok(found) => found,
            Err(refusal) => return Outlook::refused(format!("{refusal}.")),
        };
        let mut outlook = Outlook {
            days: model::days(&found.value, &standing.grid),
            hurried: None,
            in_the_way: 0,
            wanted: asked
                .day
                .map(|day| (day, found.value.chance_by(model::end_of(&standing.grid, day)))),
            working: WorkingJson::from(&found.working),
            reason: String::new(),
        };
        if asked.hurried {
            hurry(&standing, &flask, &way, &pieces, &mut outlook);
        }
        outlook
    };
    tokio::task::spawn_blocking(work).await.map_err(|error| Fault::Unforeseen(error.into()))
}

/// Where a single piece is, or would be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PieceAt {
    /// As this piece stands.
    Piece(PieceId),
    /// Waiting for a stage from now on.
    Stage(Stage),
}

/// The days by which single pieces of an order are ready five times in ten; none for one that is
/// later than can be seen. Nothing at all when no day can be told of the studio yet.
pub async fn days(
    pool: &PgPool,
    order: OrderId,
    now: Moment,
    wanted: &[PieceAt],
) -> Result<Option<Vec<Option<Day>>>, Fault> {
    let Beside { standing, flask, habits } = match Beside::read(pool, order, now).await {
        Ok(beside) => beside,
        Err(Fault::Refused(_)) => return Ok(None),
        Err(fault) => return Err(fault),
    };
    let Some((flask, bench_set_min)) = flask else { return Ok(None) };
    let pour_min = standing.problem.pour_min;
    let mut groups = Vec::with_capacity(wanted.len());
    for from in wanted {
        groups.push(match from {
            PieceAt::Piece(piece) => {
                progress::of_piece(pool, *piece, &standing.grid, pour_min).await?
            }
            PieceAt::Stage(stage) => Group {
                line: 0,
                pieces: 1,
                stage: progress::stage_of(stage.name()),
                progress: Progress::Waiting { since_min: standing.now_min },
            },
        });
    }
    let work = move || {
        let beside = openings(&standing.problem, &standing.plan, &flask).ok()?;
        let way = Way {
            now_min: standing.now_min,
            calendar: standing.calendar(),
            habits: &habits,
            bench_set_min,
            openings: &beside,
            rush: false,
        };
        // Those that stand together are ready together.
        let mut told: Vec<(Group, Option<Day>)> = Vec::new();
        let mut days = Vec::with_capacity(groups.len());
        for group in groups {
            let known = told.iter().find(|(other, _)| *other == group).map(|(_, day)| *day);
            let day = match known {
                Some(day) => day,
                None => {
                    let found =
                        forecast(std::slice::from_ref(&group), &[1], &way, RUNS_OF_A_DAY, SEED)
                            .ok()?;
                    let ready = found.value.ready_by(EVEN);
                    let day = ready.map(|minute| model::day_of(&standing.grid, minute));
                    told.push((group, day));
                    day
                }
            };
            days.push(day);
        }
        Some(days)
    };
    tokio::task::spawn_blocking(work).await.map_err(|error| Fault::Unforeseen(error.into()))
}

/// The same with nothing in the way but loads that burn already.
fn hurry(
    standing: &Standing,
    flask: &Flask,
    way: &Way<'_>,
    pieces: &progress::Pieces,
    outlook: &mut Outlook,
) {
    let under_way = &standing.problem.decisions.under_way;
    let burning = |load: &foundry::plan::Load| {
        under_way.iter().any(|one| one.kiln == load.kiln && one.start_min == load.start_min)
    };
    let mut alone = Plan::default();
    for load in standing.plan.loads.iter().filter(|load| burning(load)) {
        let members = |id: &str| load.flasks.iter().any(|placed| placed.flask == id);
        alone.pours.extend(standing.plan.pours.iter().filter(|pour| members(&pour.flask)).cloned());
        alone.loads.push(load.clone());
    }
    let mut problem = standing.problem.clone();
    // Pins would keep the kilns for others.
    problem.decisions.pins.clear();
    let Ok(openings) = openings(&problem, &alone, flask) else { return };
    let way = Way { openings: &openings, rush: true, ..way.clone() };
    let Ok(found) = forecast(&pieces.groups, &pieces.needed, &way, RUNS, SEED) else { return };
    let Some(ready) = found.value.ready_by(0.9) else { return };
    let day = model::day_of(&standing.grid, ready);
    if outlook.usual().is_some_and(|usual| day < usual) {
        outlook.hurried = Some(day);
        outlook.in_the_way = standing
            .plan
            .loads
            .iter()
            .filter(|load| !burning(load) && load.start_min < ready)
            .count();
    }
}
