//! Why a flask cannot be planned at all.

use crate::plan::calendar::Min;
use crate::plan::model::{FlaskNo, Model};
use crate::plan::outcome::Reason;
use crate::plan::problem::Problem;

use super::board::{Board, Timing, Wanted};

/// Why no plan can take a flask, if none can.
pub(super) fn refusal(problem: &Problem, model: &Model, number: FlaskNo) -> Option<Reason> {
    let flask = &model.flasks[usize::from(number)];
    if flask.latest < flask.ready {
        return Some(Reason::WindowClosed {
            ready_min: flask.ready.into(),
            latest_min: flask.latest.into(),
        });
    }
    if flask.kilns == 0 {
        return Some(no_kiln(problem, number));
    }
    if can_run(model, number) {
        return None;
    }
    Some(Reason::NoStart {
        from_min: flask.ready.into(),
        to_min: flask.latest.min(model.horizon).into(),
    })
}

/// Which of height, floor and bans leaves a flask no kiln.
fn no_kiln(problem: &Problem, number: FlaskNo) -> Reason {
    let flask = &problem.flasks[usize::from(number)];
    let allowed: Vec<_> = problem
        .kilns
        .iter()
        .filter(|kiln| {
            !problem.decisions.bans.iter().any(|ban| {
                ban.kiln == kiln.id
                    && ban.until_min.is_none()
                    && ban.flask.as_ref().is_none_or(|id| *id == flask.id)
            })
        })
        .collect();
    let needed_mm = flask.height_mm + problem.clearance.top_mm;
    let tallest_mm = allowed.iter().map(|kiln| kiln.height_mm).fold(0.0, f64::max);
    if allowed.is_empty() {
        Reason::NoKiln
    } else if needed_mm > tallest_mm {
        Reason::TooTall {
            needed_mm: needed_mm.ceil() as i64,
            tallest_mm: tallest_mm.floor() as i64,
        }
    } else {
        let needed_mm = flask.diameter_mm + 2.0 * problem.clearance.wall_mm;
        Reason::TooWide { needed_mm: needed_mm.ceil() as i64 }
    }
}

/// Whether a flask can be poured in time when nothing else is in the way,
/// alone or in the longer programme of another flask it may share a load with:
/// a longer burnout may end in working hours when its own does not.
fn can_run(model: &Model, number: FlaskNo) -> bool {
    let flask = &model.flasks[usize::from(number)];
    let board = Board::new(model);
    let mut timing = Timing::default();
    let mut programmes = vec![flask.programme];
    for other in &model.flasks {
        let compatible = model.clashes[usize::from(flask.family)] >> other.family & 1 == 0;
        if compatible && other.programme > flask.programme {
            programmes.push(other.programme);
        }
    }
    programmes.sort_unstable();
    programmes.dedup();
    programmes.into_iter().any(|programme| {
        (0..model.kilns.len()).filter(|&kiln| flask.may_use(kiln)).any(|kiln| {
            let wanted = Wanted {
                wait: 0,
                latest: Min::MAX,
                kiln,
                programme,
                from: flask
                    .ready
                    .max(model.kilns[kiln].available)
                    .max(flask.kiln_from.get(kiln).copied().unwrap_or(0)),
                exactly: None,
                under_way: false,
                pours_from: 0,
                order: &[number],
                held: &[],
            };
            board.earliest(&wanted, &mut timing)
                && timing.start <= flask.latest
                && timing.pours[0] + model.pour_min <= model.horizon
        })
    })
}
