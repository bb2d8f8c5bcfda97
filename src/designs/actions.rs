//! What is done to designs, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;

use super::closer;
use super::forms::DesignForm;
use super::intake::Taken;
use super::reading::Reading;
use super::store::{self, VersionFile};
use crate::analysis::{self, Casting};
use crate::audit;
use crate::id::{AlloyId, ClientId, DesignId, DesignVersionId};
use crate::people::Signed;
use crate::web::{Fault, Refused};

/// Makes a design of a file; its name is the file's. It is looked into as cast in an alloy, if one
/// is known already. Returns its number and its first version.
pub async fn add_from_file(
    conn: &mut PgConnection,
    signed: &Signed,
    taken: &Taken,
    client: Option<ClientId>,
    alloy: Option<AlloyId>,
) -> Result<(i32, DesignVersionId), Fault> {
    let id = DesignId::new();
    let name = name_of(&taken.name);
    let number = store::insert(conn, id, &name, client, signed.now).await?;
    let version = store::insert_version(conn, id, taken, signed.now, signed.person).await?;
    look_into(conn, signed, version, alloy).await?;
    let subject = format!("design:{number}");
    let detail = json!({ "name": name, "file": taken.name });
    audit::note(conn, signed.now, Some(signed.person), "added", &subject, detail).await?;
    Ok((number, version))
}

/// `drawer_knob.stl` becomes `Drawer knob`; a name with spaces in it is somebody's own.
fn name_of(file: &str) -> String {
    let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
    if stem.contains(' ') {
        return stem.trim().to_owned();
    }
    let words = stem.replace(['_', '-'], " ");
    let mut letters = words.trim().chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => "Unnamed".to_owned(),
    }
}

pub(super) async fn change(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    design: &DesignForm,
    seen: i64,
) -> Result<(), Fault> {
    if !store::update(conn, number, design, seen).await? {
        return Err(Refused::stale("this design").into());
    }
    let subject = format!("design:{number}");
    let detail = json!({ "name": design.name });
    audit::note(conn, signed.now, Some(signed.person), "changed", &subject, detail).await?;
    Ok(())
}

pub(super) async fn add_version(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    taken: &Taken,
) -> Result<(), Fault> {
    let design = store::lock(conn, number).await?;
    let version = store::insert_version(conn, design, taken, signed.now, signed.person).await?;
    look_into(conn, signed, version, None).await?;
    let subject = format!("design:{number}");
    let detail = json!({ "file": taken.name });
    audit::note(conn, signed.now, Some(signed.person), "added version", &subject, detail).await?;
    Ok(())
}

/// Writes what a version measures in the unit that was told. An order that is
/// being made keeps the size it was agreed with.
pub(super) async fn tell_unit(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    version: &VersionFile,
    reading: &Reading,
) -> Result<(), Fault> {
    store::lock(conn, number).await?;
    if let Some(order) = store::order_under_way(conn, version.id).await? {
        return Err(Refused::conflict(format!(
            "Order {order} is being made from this version, so its size stays as it was agreed. Add a new version instead."
        ))
        .into());
    }
    store::remeasure(conn, version.id, reading, signed.now).await?;
    store::outdate_quotes(conn, version.id, signed.now).await?;
    ask(conn, signed, version.id).await?;
    let subject = format!("design:{number}");
    let detail = json!({ "unit": reading.unit });
    audit::note(conn, signed.now, Some(signed.person), "told unit", &subject, detail).await?;
    Ok(())
}

/// A new version is to be cast as the one before it, or in the usual way; its analyses are asked
/// for at once.
async fn look_into(
    conn: &mut PgConnection,
    signed: &Signed,
    version: DesignVersionId,
    alloy: Option<AlloyId>,
) -> Result<(), Fault> {
    let casting = match (store::casting_before(conn, version).await?, alloy) {
        (Some(before), _) => Some(before),
        (None, Some(alloy)) => {
            analysis::alloy_of(&mut *conn, alloy).await?.as_ref().map(Casting::usual)
        }
        (None, None) => analysis::usual_alloy(&mut *conn).await?.as_ref().map(Casting::usual),
    };
    if let Some(casting) = casting {
        store::keep_casting(conn, version, &casting, 0, signed.now, signed.person).await?;
    }
    ask(conn, signed, version).await
}

/// Asks for what is not known yet about a version.
pub(super) async fn ask(
    conn: &mut PgConnection,
    signed: &Signed,
    version: DesignVersionId,
) -> Result<(), Fault> {
    let Some(questions) = closer::questions(conn, version).await? else { return Ok(()) };
    analysis::ask_look(conn, &questions.look, signed.now).await?;
    if let Some(feed) = &questions.feed {
        analysis::ask_feed(conn, feed, signed.now).await?;
    }
    Ok(())
}

/// Calls off what is not finished about a version.
pub(super) async fn call_off(
    conn: &mut PgConnection,
    signed: &Signed,
    version: DesignVersionId,
) -> Result<(), Fault> {
    if let Some(questions) = closer::questions(conn, version).await? {
        analysis::cancel(conn, &questions.look, questions.feed.as_ref(), signed.now).await?;
    }
    Ok(())
}

/// Says how a version is to be cast, calls off what nobody waits for any more, and asks anew.
pub(super) async fn cast_so(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    version: DesignVersionId,
    casting: &Casting,
    seen: i64,
) -> Result<(), Fault> {
    call_off(conn, signed, version).await?;
    if !store::keep_casting(conn, version, casting, seen, signed.now, signed.person).await? {
        return Err(Refused::stale("how this design is cast").into());
    }
    ask(conn, signed, version).await?;
    let subject = format!("design:{number}");
    let detail = json!({ "casting": casting });
    audit::note(conn, signed.now, Some(signed.person), "cast so", &subject, detail).await?;
    Ok(())
}
