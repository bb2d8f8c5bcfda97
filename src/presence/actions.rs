//! Saying who is not there, and when somebody is.

use serde_json::json;
use sqlx::PgConnection;

use super::forms::AwayForm;
use super::store;
use crate::audit;
use crate::clock::Day;
use crate::id::{AbsenceId, PersonId};
use crate::people::Signed;
use crate::settings::WeekHours;
use crate::web::{Fault, Refused};

/// Somebody is ill or away.
pub(super) async fn away(
    conn: &mut PgConnection,
    signed: &Signed,
    person: PersonId,
    away: AwayForm,
) -> Result<(), Fault> {
    let Some(name) = store::lock_person(conn, person).await? else {
        return Err(
            Refused::conflict("This person no longer works here. Nothing was changed.").into()
        );
    };
    store::insert_absence(conn, person, away, signed.person, signed.now).await?;
    let detail =
        json!({ "name": name, "kind": away.kind.word(), "from": away.from, "to": away.to });
    let subject = format!("person:{person}");
    audit::note(conn, signed.now, Some(signed.person), "away", &subject, detail).await?;
    Ok(())
}

/// Somebody is there again; said twice it is said once.
pub(super) async fn end(
    conn: &mut PgConnection,
    signed: &Signed,
    absence: AbsenceId,
    today: Day,
) -> Result<(), Fault> {
    if let Some(person) = store::end_absence(conn, absence, today).await? {
        let subject = format!("person:{person}");
        let detail = json!({ "from": today });
        audit::note(conn, signed.now, Some(signed.person), "there again", &subject, detail).await?;
    }
    Ok(())
}

/// Somebody's own hours; none for the studio's.
pub(super) async fn set_hours(
    conn: &mut PgConnection,
    signed: &Signed,
    person: PersonId,
    hours: Option<&WeekHours>,
    pours: bool,
    seen: i64,
) -> Result<(), Fault> {
    if !store::set_hours(conn, person, hours, pours, seen).await? {
        return Err(Refused::stale("these hours").into());
    }
    let detail = json!({ "hours": hours, "pours": pours });
    let subject = format!("person:{person}");
    audit::note(conn, signed.now, Some(signed.person), "hours", &subject, detail).await?;
    Ok(())
}
