//! What people tick in lists of pieces.

use crate::id::AttemptId;
use crate::web::{Form, Refused};

/// The attempts ticked under `pieces`; notes at that field what is wrong with them.
pub fn ticked(form: &mut Form) -> Vec<AttemptId> {
    let all: Vec<Option<AttemptId>> = form.all("pieces").map(|id| id.parse().ok()).collect();
    if all.is_empty() {
        form.wrong("pieces", "Tick at least one piece.");
    } else if all.iter().any(Option::is_none) {
        form.wrong("pieces", "A piece in this list is not known; load the page again.");
    }
    let mut known: Vec<AttemptId> = all.into_iter().flatten().collect();
    known.sort_unstable();
    known.dedup();
    known
}

/// The attempts ticked under `failed`, each with the cause typed beside it.
pub fn failures(form: &Form) -> Result<Vec<(AttemptId, String)>, Refused> {
    let mut failed = Vec::new();
    for id in form.all("failed") {
        let attempt = id.parse().map_err(|_| {
            Refused::conflict("A piece in this list is not known; load the page again.")
        })?;
        let cause: String = form.value(&format!("cause-{id}")).trim().chars().take(200).collect();
        failed.push((attempt, cause));
    }
    Ok(failed)
}
