//! Taking a measured value over, and giving it back, inside the caller's transaction.

use sqlx::PgConnection;
use uuid::Uuid;

use super::model::What;
use super::store::{self, Change};
use super::view;
use crate::audit;
use crate::json::working::WorkingJson;
use crate::people::Signed;
use crate::web::{Fault, Refused};

const CHANGED: &str = "The setting or the measurements have changed since this page was made. Nothing was changed; look at it as it is now.";

/// Sets what the measurements propose, if that is still what was shown.
pub(super) async fn take(
    conn: &mut PgConnection,
    signed: &Signed,
    what: What,
    item: &str,
    shown: f64,
) -> Result<(), Fault> {
    let all = view::measured(conn, what).await?;
    let Some(of) = all.into_iter().find(|each| each.item == item) else {
        return Err(Refused::conflict(CHANGED).into());
    };
    let Some(proposal) = of.proposal(what) else {
        return Err(Refused::conflict(CHANGED).into());
    };
    if (proposal.after - shown).abs() > 1e-6
        || !store::set(conn, what, item, of.now, proposal.after).await?
    {
        return Err(Refused::conflict(CHANGED).into());
    }
    let change = Change {
        what,
        item,
        before: of.now,
        after: proposal.after,
        records: i32::try_from(proposal.records).unwrap_or(i32::MAX),
        working: serde_json::to_value(WorkingJson::from(&proposal.working))?,
    };
    store::note(conn, change, signed.now, signed.person).await?;
    let detail = serde_json::json!({ "before": of.now, "after": proposal.after });
    let subject = format!("setting:{}:{item}", what.name());
    audit::note(conn, signed.now, Some(signed.person), "learned", &subject, detail).await?;
    Ok(())
}

/// Puts the setting back to what it was, if nobody has set it to something else since.
pub(super) async fn reverse(
    conn: &mut PgConnection,
    signed: &Signed,
    id: Uuid,
) -> Result<(), Fault> {
    let kept = store::hold(conn, id).await?;
    if kept.reversed {
        return Err(Refused::conflict("This was given back already.").into());
    }
    if !store::set(conn, kept.what, &kept.item, kept.after, kept.before).await? {
        return Err(Refused::conflict(
            "Somebody has set this to something else since, so it was left as it is.",
        )
        .into());
    }
    store::mark_reversed(conn, id, signed.now, signed.person).await?;
    let detail = serde_json::json!({ "before": kept.after, "after": kept.before });
    let subject = format!("setting:{}:{}", kept.what.name(), kept.item);
    audit::note(conn, signed.now, Some(signed.person), "unlearned", &subject, detail).await?;
    Ok(())
}
