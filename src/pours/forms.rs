//! What is recorded at the furnace.

use std::collections::BTreeMap;

use crate::id::{ClientId, MetalLotId, PieceId};
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
    /// The bought lot that the fresh metal is of.
    pub(super) fresh_lot: Option<MetalLotId>,
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
        let fresh_lot =
            if form.value("fresh_lot").is_empty() { None } else { form.choice("fresh_lot") };
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
            fresh_lot,
            returns_from,
            cover,
            vacuum_kpa: vacuum_kpa.filter(|_| method == Method::Vacuum),
            spin_rpm: spin_rpm.filter(|_| method == Method::Centrifugal),
            quench_min,
            failed,
            note,
        })
    }
}
