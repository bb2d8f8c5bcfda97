//! What is recorded at the furnace.

use std::collections::BTreeMap;
use std::str::FromStr;

use crate::id::{ClientId, PieceId};
use crate::metal::Chosen;
use crate::web::Form;

/// How a pour went.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub(super) enum PourResult {
    /// The mould filled.
    Good,
    /// Some of it did not fill.
    Short,
    /// Nothing in it can be used.
    Lost,
}

/// How the mould was filled.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub(super) enum Method {
    Gravity,
    Vacuum,
    Centrifugal,
}

/// What may keep air off a melt.
pub(super) const COVERS: [(&str, &str); 6] = [
    ("", "not noted"),
    ("none", "nothing"),
    ("flux", "flux"),
    ("charcoal", "charcoal"),
    ("inert gas", "inert gas"),
    ("vacuum", "vacuum"),
];

/// A pour as typed, checked.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct PourForm {
    pub(super) fresh_cg: i64,
    pub(super) returns_cg: i64,
    /// A client's own metal, and whose.
    pub(super) own: Option<(ClientId, i64)>,
    pub(super) melt_c: f64,
    pub(super) flask_c: f64,
    pub(super) method: Method,
    pub(super) result: PourResult,
    /// The lots of fresh metal and returns, where somebody said which.
    pub(super) lots: Chosen,
    /// Where the returns came from, as written on their bag.
    pub(super) returns_from: String,
    /// What kept air off the melt; empty when it was not noted.
    pub(super) cover: String,
    /// The pressure left under the flask.
    pub(super) vacuum_kpa: Option<f64>,
    pub(super) spin_rpm: Option<f64>,
    pub(super) quench_min: Option<i64>,
    /// Pieces that failed, with their cause.
    pub(super) failed: BTreeMap<PieceId, String>,
    /// Why pieces failed; all of them when the pour is lost.
    pub(super) cause: String,
    /// It was asked about and is so.
    pub(super) sure: bool,
    pub(super) note: String,
}

impl PourForm {
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let fresh = form.number("fresh_g", 0.0, 100_000.0);
        let returns = form.number("returns_g", 0.0, 100_000.0);
        let own_g = form.number_or_none("own_g", 0.0, 100_000.0).filter(|grams| *grams >= 0.005);
        let own_client: Option<ClientId> = form.value("own_client").parse().ok();
        if own_g.is_some() && own_client.is_none() {
            form.wrong("own_client", "Say whose metal it is.");
        }
        let melt_c = form.number("melt_c", 200.0, 2400.0);
        let flask_c = form.number("flask_c", 0.0, 1400.0);
        let quench_min =
            form.number_or_none("quench_min", 0.0, 600.0).map(|minutes| minutes.round() as i64);
        let returns_from = form.line("returns_from", 200);
        let cover = form.value("cover").to_owned();
        if !COVERS.iter().any(|(name, _)| *name == cover) {
            form.wrong("cover", "Choose one of these.");
        }
        let vacuum_kpa = form.number_or_none("vacuum_kpa", 0.0, 101.3);
        let spin_rpm = form.number_or_none("spin_rpm", 1.0, 3000.0);
        let method = match form.value("method") {
            "gravity" => Method::Gravity,
            "centrifugal" => Method::Centrifugal,
            _ => Method::Vacuum,
        };
        let result = match form.value("result") {
            "good" => Some(PourResult::Good),
            "short" => Some(PourResult::Short),
            "lost" => Some(PourResult::Lost),
            _ => {
                form.wrong("result", "Say how the pour went.");
                None
            }
        };
        let note = form.text("note", 2000);
        let ticked: Vec<String> = form.all("failed").map(str::to_owned).collect();
        let common = form.text("cause", 200);
        let mut failed = BTreeMap::new();
        for id in ticked {
            let Ok(piece) = id.parse::<PieceId>() else { continue };
            failed.insert(piece, common.clone());
        }
        let needs_cause = !failed.is_empty() || result == Some(PourResult::Lost);
        if needs_cause && common.is_empty() {
            form.wrong("cause", "Say why; the cause is what the next attempt learns from.");
        }
        if result == Some(PourResult::Short) && failed.is_empty() {
            form.wrong(
                "result",
                "Tick the pieces that did not fill; if none failed, the pour was good.",
            );
        }
        if result == Some(PourResult::Good) && !failed.is_empty() {
            form.wrong("result", "Pieces are ticked as failed: then the pour was short.");
        }
        let cg = |grams: f64| (grams * 100.0).round() as i64;
        let lots = Chosen {
            fresh: chosen(form, "lot", ("fresh_g", "the fresh metal"), fresh.map(cg)),
            returns: chosen(form, "bag", ("returns_g", "the returns"), returns.map(cg)),
        };
        if let (Some(fresh), Some(returns)) = (fresh, returns)
            && cg(fresh) + cg(returns) + own_g.map_or(0, cg) == 0
        {
            form.wrong("fresh_g", "A pour needs metal: give fresh metal, returns or both.");
        }
        if !form.good() {
            return None;
        }
        Some(Self {
            fresh_cg: cg(fresh?),
            returns_cg: cg(returns?),
            own: own_client.zip(own_g.map(cg)),
            melt_c: melt_c?,
            flask_c: flask_c?,
            method,
            result: result?,
            lots,
            returns_from,
            cover,
            vacuum_kpa: vacuum_kpa.filter(|_| method == Method::Vacuum),
            spin_rpm: spin_rpm.filter(|_| method == Method::Centrifugal),
            quench_min,
            failed,
            cause: common,
            sure: form.is_sure(),
            note,
        })
    }
}

/// The weights of a pour, corrected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Weights {
    pub(super) fresh_cg: i64,
    pub(super) returns_cg: i64,
    /// Of the client's own metal that was poured; whose it is stays.
    pub(super) own_cg: i64,
    /// It was asked about and is so.
    pub(super) sure: bool,
}

impl Weights {
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let mut cg = |name: &str| {
            let grams = form.number_or_none(name, 0.0, 100_000.0).unwrap_or(0.0);
            (grams * 100.0).round() as i64
        };
        let [fresh_cg, returns_cg, own_cg] =
            ["was_fresh_g", "was_returns_g", "was_own_g"].map(&mut cg);
        if form.good() && fresh_cg + returns_cg + own_cg == 0 {
            form.wrong("was_fresh_g", "A pour needs metal: give fresh metal, returns or both.");
        }
        form.good().then_some(Self { fresh_cg, returns_cg, own_cg, sure: form.is_sure() })
    }
}

/// The field of a lot, or of the returns of a flask.
pub(super) fn share_field(kind: &str, id: impl std::fmt::Display) -> String {
    format!("{kind}_{id}")
}

/// How much is of which lot: what was typed beside each, which must come to the whole. A lot
/// that was chosen for all of it is all of it; nothing said is nothing chosen.
fn chosen<I: Copy + FromStr + std::fmt::Display>(
    form: &mut Form,
    kind: &str,
    (field, words): (&str, &str),
    whole: Option<i64>,
) -> Vec<(I, i64)> {
    let ids: Vec<I> = form.all(kind).filter_map(|id| id.parse().ok()).collect();
    let mut parts = Vec::new();
    for id in ids {
        let name = share_field(kind, id);
        if form.value(&name).trim().is_empty() {
            continue;
        }
        let Some(grams) = form.number(&name, 0.0, 100_000.0) else { continue };
        let cg = (grams * 100.0).round() as i64;
        if cg > 0 {
            parts.push((id, cg));
        }
    }
    let Some(whole) = whole.filter(|whole| *whole > 0) else { return parts };
    if parts.is_empty() {
        let all = form.value(&format!("all_{kind}")).parse();
        return all.map(|id| vec![(id, whole)]).unwrap_or_default();
    }
    let together: i64 = parts.iter().map(|(_, cg)| cg).sum();
    if together != whole {
        let grams = |cg: i64| format!("{}.{:02}", cg / 100, cg % 100);
        form.wrong(
            field,
            format!(
                "The lots come to {} g and {words} to {} g. Make them the same, or leave the lots empty: then the oldest come first.",
                grams(together),
                grams(whole)
            ),
        );
    }
    parts
}
