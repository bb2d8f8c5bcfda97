//! What is done to flasks, inside the caller's transaction.

use sqlx::{PgConnection, PgPool};
use tokio::sync::Semaphore;

use super::arrange::{self, TreeWish};
use super::forms::{NewFlask, Weighing};
use super::mixing;
use super::model::{FlaskRefusal, FlaskState, Weights, WorkedOut, work_out};
use super::store::{self, Locked};
use super::view;
use crate::clock::Moment;
use crate::designs;
use crate::doubt;
use crate::id::{AlloyId, AttemptId, FlaskId, PieceId};
use crate::json::working::WorkingJson;
use crate::metal;
use crate::people::Signed;
use crate::pieces::{self, Act, Happening, Stage};
use crate::studio::Settings;
use crate::timers;
use crate::web::{Fault, Refused};

/// Refuses unless the flask is in one of the states, and as it was when the form was made.
pub(super) fn expect(
    flask: &Locked,
    states: &[FlaskState],
    seen: Option<i64>,
) -> Result<(), Fault> {
    if !states.contains(&flask.state) {
        let refusal = FlaskRefusal::NotNow { number: flask.number, words: flask.state.words() };
        return Err(Refused::from(refusal).into());
    }
    if seen.is_some_and(|seen| seen != flask.version) {
        return Err(Refused::stale(&format!("flask {}", flask.number)).into());
    }
    Ok(())
}

/// A new flask with the first pieces on its tree.
pub(super) async fn begin(
    conn: &mut PgConnection,
    signed: &Signed,
    flask: &NewFlask,
) -> Result<i32, Fault> {
    let kind = view::owned(&mut *conn, Some(flask.flask_type), signed.now).await?.pop();
    if let Some(full) = kind.filter(|kind| kind.is_full() && !flask.sure) {
        let show = &signed.frame.show;
        let words = full.full_words(|at| show.day_of(at));
        return Err(Refused::doubted(format!(
            "{words}. Begin one all the same? Only if there is one more than the studio's list says, or one is empty that is not recorded as divested."
        ))
        .into());
    }
    let (id, number) = store::insert(conn, flask, signed.now).await?;
    put_on(conn, signed, id, number, flask.alloy, &flask.pieces).await?;
    Ok(number)
}

/// Puts pieces on the tree; all of the flask's alloy.
async fn put_on(
    conn: &mut PgConnection,
    signed: &Signed,
    id: FlaskId,
    number: i32,
    alloy: AlloyId,
    wanted: &[PieceId],
) -> Result<(), Fault> {
    if let Some((label, its, ours)) = view::other_alloy(conn, alloy, wanted).await? {
        return Err(Refused::from(FlaskRefusal::OtherAlloy { label, its, ours }).into());
    }
    let batch = format!("flask:{number}");
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&batch);
    pieces::record(conn, wanted, &Happening::Entered(Stage::Invest), &act).await?;
    store::put_on(conn, id, wanted).await?;
    Ok(())
}

pub(super) async fn add_pieces(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    wanted: &[PieceId],
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    expect(&flask, &[FlaskState::Treeing, FlaskState::Weighed], Some(seen))?;
    put_on(conn, signed, flask.id, number, flask.alloy_id, wanted).await?;
    // What was weighed is no longer what stands there.
    store::set_state(conn, flask.id, FlaskState::Treeing).await?;
    Ok(())
}

pub(super) async fn take_off(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    piece: PieceId,
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    expect(&flask, &[FlaskState::Treeing, FlaskState::Weighed], Some(seen))?;
    if store::take_off(conn, flask.id, piece, signed.now).await? == 0 {
        return Err(Fault::NotFound);
    }
    let batch = format!("flask:{number}");
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&batch);
    pieces::record(conn, &[piece], &Happening::Left(Stage::Invest), &act).await?;
    store::set_state(conn, flask.id, FlaskState::Treeing).await?;
    Ok(())
}

/// Arranging takes a core for seconds; all at once would leave none for pages.
static ARRANGING: Semaphore = Semaphore::const_new(2);

/// Hangs pieces on trees, away from the threads that answer requests.
pub(super) async fn work_out_trees(
    pool: &PgPool,
    wish: TreeWish,
    cylinders: Vec<arrange::Cylinder>,
    pieces: Vec<arrange::Hanging>,
) -> Result<arrange::Trees, Fault> {
    let versions: Vec<_> = pieces.iter().map(|piece| piece.version).collect();
    let shapes = designs::shapes(pool, &versions).await?;
    let _turn = ARRANGING.acquire().await.map_err(|closed| Fault::Unforeseen(closed.into()))?;
    let work = move || arrange::arrange(&wish, &cylinders, &pieces, &shapes);
    let trees = tokio::task::spawn_blocking(work).await;
    Ok(trees.map_err(|broken| Fault::Unforeseen(broken.into()))??)
}

/// Arranges what is on a flask's tree; refuses, and changes nothing, when it does not all go in.
pub(super) async fn arrange(
    pool: &PgPool,
    conn: &mut PgConnection,
    number: i32,
    seen: Option<i64>,
    wish: &TreeWish,
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    expect(&flask, &[FlaskState::Treeing, FlaskState::Weighed], seen)?;
    let pieces = view::hanging(conn, flask.id).await?;
    if pieces.is_empty() {
        return Err(Refused::from(FlaskRefusal::NoPieces { number }).into());
    }
    let cylinder = view::cylinder_of(conn, flask.id).await?;
    let trees = work_out_trees(pool, wish.clone(), vec![cylinder], pieces).await?;
    let left: Vec<String> =
        trees.left.iter().map(|(label, why)| format!("{label}: {why}")).collect();
    if !left.is_empty() {
        return Err(Refused::conflict(format!(
            "Not everything goes into flask {number}. {}. Nothing was changed; move these to another flask.",
            left.join("; ")
        ))
        .into());
    }
    if let Some(arranged) = trees.flasks.first() {
        store::hang(conn, flask.id, arranged).await?;
    }
    Ok(())
}

/// A new flask whose tree is arranged at once.
pub(super) async fn begin_arranged(
    pool: &PgPool,
    conn: &mut PgConnection,
    signed: &Signed,
    flask: &NewFlask,
    wish: &TreeWish,
) -> Result<i32, Fault> {
    let number = begin(conn, signed, flask).await?;
    arrange(pool, conn, number, None, wish).await?;
    Ok(number)
}

/// Moves a piece to another flask of the same alloy and family, by hand: there it hangs where
/// people put it, until the tree is arranged again.
pub(super) async fn move_piece(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    piece: PieceId,
    to: i32,
) -> Result<(), Fault> {
    let wrong = |message: String| Fault::from(Refused::conflict(message));
    if to == number {
        return Err(wrong(format!("The piece is in flask {number} already.")));
    }
    // The lower number is held first, so that two who move wait for each other.
    store::lock(conn, number.min(to)).await?;
    let other = store::lock(conn, to).await?;
    expect(&other, &[FlaskState::Treeing, FlaskState::Weighed], None)?;
    let flask = store::lock(conn, number).await?;
    if flask.alloy_id != other.alloy_id || flask.family_id != other.family_id {
        return Err(wrong(format!(
            "Flask {to} is of another alloy or programme family than flask {number}. One of each a flask; nothing was changed."
        )));
    }
    take_off(conn, signed, number, seen, piece).await?;
    put_on(conn, signed, other.id, to, other.alloy_id, &[piece]).await?;
    store::set_state(conn, other.id, FlaskState::Treeing).await?;
    Ok(())
}

/// Where a piece sits on the tree.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) attempt: AttemptId,
    pub(super) tier: i32,
    pub(super) place: i32,
    pub(super) sprues: i32,
    pub(super) sprue_diameter_mm: f64,
}

pub(super) async fn place(
    conn: &mut PgConnection,
    number: i32,
    places: &[Place],
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    expect(&flask, &[FlaskState::Treeing, FlaskState::Weighed], None)?;
    for each in places {
        store::place(
            conn,
            flask.id,
            each.attempt,
            each.tier,
            each.place,
            each.sprues,
            each.sprue_diameter_mm,
        )
        .await?;
    }
    Ok(())
}

/// Takes the weights and works out charge, powder and water.
pub(super) async fn weigh(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    weighing: &Weighing,
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    expect(&flask, &[FlaskState::Treeing, FlaskState::Weighed], Some(seen))?;
    if store::pieces_of(conn, flask.id).await?.is_empty() {
        return Err(Refused::from(FlaskRefusal::NoPieces { number }).into());
    }
    let on_it_g = weighing.tree_mass_g - weighing.base_mass_g;
    if on_it_g > 0.0 && !weighing.sure {
        let models = view::models_mm3(conn, flask.id).await?;
        doubt::tree(models, weighing.pattern_density_g_cm3, on_it_g)?;
    }
    let settings = Settings::load(&mut *conn).await?;
    let known = view::material(conn, flask.id).await?;
    let stock = metal::balances(&mut *conn, flask.alloy_id).await?;
    let share = |share: rust_decimal::Decimal| f64::try_from(share).unwrap_or(0.0);
    let out = work_out(&Weights {
        number,
        tree_mass_g: weighing.tree_mass_g,
        base_mass_g: weighing.base_mass_g,
        pattern_density_g_cm3: weighing.pattern_density_g_cm3,
        alloy_density_g_cm3: known.density_g_cm3,
        alloy_name: known.alloy,
        alloy_source: known.source,
        button_share: share(settings.button_share),
        loss: share(settings.metal_loss),
        least_fresh: known.least_fresh.unwrap_or_else(|| share(settings.least_fresh)),
        returns_cg: stock.returns_cg,
        inside_diameter_mm: f64::from(known.diameter_mm) - 2.0 * known.wall_mm,
        height_mm: f64::from(known.height_mm),
        collar_mm: weighing.collar_mm,
        channels_cm3: weighing.channels_cm3,
        investment_kind: known.investment_kind,
        water_per_100: known.water_per_100,
    })
    .map_err(Refused::from)?;
    let workings = (
        serde_json::to_value(WorkingJson::from(&out.charge_working))?,
        serde_json::to_value(WorkingJson::from(&out.investment_working))?,
    );
    store::set_weights(conn, flask.id, weighing, &out, workings, signed.now).await?;
    Ok(())
}

/// What an arranged tree comes to before it is weighed: by the volumes of its pieces, sprue and
/// runners. Nothing when it was not arranged, or a model is open.
pub(super) async fn computed(
    pool: &PgPool,
    flask: &view::FlaskRow,
    tree: &[view::TreeRow],
    pattern_density_g_cm3: f64,
) -> Result<Option<WorkedOut>, Fault> {
    let volume: Option<f64> = tree.iter().map(|piece| piece.volume_mm3).sum();
    let (Some(arranged), Some(pieces_mm3)) = (flask.arranged(), volume) else { return Ok(None) };
    if tree.is_empty() {
        return Ok(None);
    }
    let tree_mm3 = pieces_mm3 + arranged.sprue_mm3;
    let mut conn = pool.acquire().await?;
    let settings = Settings::load(&mut *conn).await?;
    let known = view::material(&mut conn, flask.id).await?;
    let stock = metal::balances(&mut *conn, flask.alloy_id).await?;
    let share = |share: rust_decimal::Decimal| f64::try_from(share).unwrap_or(0.0);
    let out = work_out(&Weights {
        number: flask.number,
        tree_mass_g: tree_mm3 / 1000.0 * pattern_density_g_cm3,
        base_mass_g: 0.0,
        pattern_density_g_cm3,
        alloy_density_g_cm3: known.density_g_cm3,
        alloy_name: known.alloy,
        alloy_source: known.source,
        button_share: share(settings.button_share),
        loss: share(settings.metal_loss),
        least_fresh: known.least_fresh.unwrap_or_else(|| share(settings.least_fresh)),
        returns_cg: stock.returns_cg,
        inside_diameter_mm: f64::from(known.diameter_mm) - 2.0 * known.wall_mm,
        height_mm: f64::from(known.height_mm),
        collar_mm: USUAL_COLLAR_MM,
        channels_cm3: 0.0,
        investment_kind: known.investment_kind,
        water_per_100: known.water_per_100,
    });
    Ok(out.ok())
}

/// Slurry above the rim, before anybody has said otherwise.
pub(super) const USUAL_COLLAR_MM: f64 = 6.0;

/// Starts the mixing clock for a slurry of so many degrees.
pub(super) async fn start_mix(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    slurry_c: f64,
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    expect(&flask, &[FlaskState::Weighed], Some(seen))?;
    let steps = super::view::mixing_steps(conn, flask.id, slurry_c, 1).await?;
    let subject = format!("flask:{number}");
    for step in &steps {
        timers::start(conn, &subject, &step.name, signed.now, step.end_min).await?;
    }
    store::start_mix(conn, flask.id, serde_json::to_value(&steps)?, signed.now).await?;
    let powder_g: Option<f64> = store::powder_of(conn, flask.id).await?;
    if let Some(grams) = powder_g {
        mixing::take_powder(conn, flask.id, grams, signed.now).await?;
    }
    Ok(())
}

/// The flask is full and left to set: investing is done.
pub(super) async fn leave_to_set(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    expect(&flask, &[FlaskState::Mixing], Some(seen))?;
    let subject = format!("flask:{number}");
    timers::end(conn, &subject, signed.now).await?;
    let minutes = store::leave_to_set(conn, flask.id, signed.now).await?;
    mixing::after_leaving(conn, flask.id, signed.now).await?;
    timers::start(conn, &subject, "bench set", signed.now, f64::from(minutes)).await?;
    let wanted = store::pieces_of(conn, flask.id).await?;
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&subject);
    pieces::record(conn, &wanted, &Happening::Finished(Stage::Invest), &act).await?;
    Ok(())
}

/// Takes back what was recorded last by mistake: that the flask was left to set, or that
/// its mixing clock was started.
pub(super) async fn take_back(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    expect(&flask, &[FlaskState::Mixing, FlaskState::Setting], Some(seen))?;
    let subject = format!("flask:{number}");
    if flask.state == FlaskState::Mixing {
        timers::end(conn, &subject, signed.now).await?;
        store::unmix(conn, flask.id).await?;
        mixing::after_leaving(conn, flask.id, signed.now).await?;
        mixing::give_back(conn, flask.id).await?;
    } else {
        timers::take_back(conn, &subject, signed.now).await?;
        store::unset(conn, flask.id).await?;
        let wanted = store::pieces_of(conn, flask.id).await?;
        let act = Act::new(signed.now, Some(signed.person)).in_batch(&subject);
        pieces::reopen(conn, &wanted, Stage::Invest, &subject, &act).await?;
    }
    Ok(())
}

/// Moves flasks on with their kiln load: into the kiln, hot, out again.
pub async fn move_on(
    conn: &mut PgConnection,
    flasks: &[FlaskId],
    from: FlaskState,
    to: FlaskState,
    now: Moment,
) -> Result<(), Fault> {
    for flask in store::lock_all(conn, flasks).await? {
        expect(&flask, &[from], None)?;
        store::set_state(conn, flask.id, to).await?;
        if to == FlaskState::InKiln {
            timers::end(conn, &format!("flask:{}", flask.number), now).await?;
        }
    }
    Ok(())
}

/// Gives a flask up before it was mixed for: its pieces wait for another.
pub(super) async fn cancel(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    expect(&flask, &[FlaskState::Treeing, FlaskState::Weighed], Some(seen))?;
    let subject = format!("flask:{number}");
    let wanted = store::pieces_of(conn, flask.id).await?;
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&subject);
    pieces::record(conn, &wanted, &Happening::Left(Stage::Invest), &act).await?;
    store::empty(conn, flask.id, signed.now).await?;
    store::set_state(conn, flask.id, FlaskState::Cancelled).await?;
    Ok(())
}
