//! What people type about flasks.

use crate::id::{AlloyId, FamilyId, FlaskTypeId, InvestmentId, PieceId};
use crate::web::Form;

/// A new flask.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct NewFlask {
    pub(super) flask_type: FlaskTypeId,
    pub(super) alloy: AlloyId,
    pub(super) investment: InvestmentId,
    pub(super) family: FamilyId,
    pub(super) flask_c: f64,
    pub(super) pieces: Vec<PieceId>,
    pub(super) note: String,
    /// It was asked about and is so.
    pub(super) sure: bool,
}

impl NewFlask {
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let flask_type = form.choice("flask_type");
        let alloy = form.choice("alloy");
        let investment = form.choice("investment");
        let family = form.choice("family");
        let flask_c = form.number("flask_c", 0.0, 1400.0);
        let note = form.text("note", 2000);
        let pieces = chosen_pieces(form);
        if !form.good() {
            return None;
        }
        Some(Self {
            flask_type: flask_type?,
            alloy: alloy?,
            investment: investment?,
            family: family?,
            flask_c: flask_c?,
            pieces,
            note,
            sure: form.is_sure(),
        })
    }
}

/// The pieces whose boxes were ticked; at least one.
pub(super) fn chosen_pieces(form: &mut Form) -> Vec<PieceId> {
    let pieces: Vec<PieceId> = form.all("piece").filter_map(|id| id.parse().ok()).collect();
    if pieces.is_empty() {
        form.wrong("piece", "Choose at least one piece.");
    }
    pieces
}

/// What the scale says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Weighing {
    pub(super) tree_mass_g: f64,
    pub(super) base_mass_g: f64,
    pub(super) pattern_density_g_cm3: f64,
    pub(super) collar_mm: f64,
    /// Cords and straws that keep vacuum channels open.
    pub(super) channels_cm3: f64,
    /// It was asked about and is so.
    pub(super) sure: bool,
}

impl Weighing {
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let tree = form.number("tree_mass_g", 0.01, 100_000.0);
        let base = form.number("base_mass_g", 0.0, 100_000.0);
        let density = form.number("pattern_density", 0.5, 3.0);
        let collar = form.number("collar_mm", 0.0, 100.0);
        let channels = form.number_or_none("channels_cm3", 0.0, 10_000.0);
        if form.error("channels_cm3").is_some() {
            return None;
        }
        Some(Self {
            tree_mass_g: tree?,
            base_mass_g: base?,
            pattern_density_g_cm3: density?,
            collar_mm: collar?,
            channels_cm3: channels.unwrap_or(0.0),
            sure: form.is_sure(),
        })
    }
}

/// What the cut-off tree weighs, in grams.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Divesting {
    pub(super) pieces_g: f64,
    pub(super) returns_g: f64,
    /// It was asked about and is so.
    pub(super) sure: bool,
}

impl Divesting {
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let pieces = form.number("pieces_g", 0.0, 1_000_000.0);
        let returns = form.number("returns_g", 0.0, 1_000_000.0);
        Some(Self { pieces_g: pieces?, returns_g: returns?, sure: form.is_sure() })
    }
}
