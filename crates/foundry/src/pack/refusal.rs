//! Why nothing can be packed.

/// Why a packing was refused.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PackRefusal {
    /// A length that is none, or none that makes sense.
    #[error("{what} has to be between {least_mm} and {most_mm} mm; {given_mm} mm was given")]
    OutOfRange {
        /// Which length.
        what: &'static str,
        /// What was given.
        given_mm: f64,
        /// The least that is taken.
        least_mm: f64,
        /// The most that is taken.
        most_mm: f64,
    },
    /// A model without facets.
    #[error("model {} has no facets; nothing can be packed by its outline", model + 1)]
    NoModel {
        /// Which, from zero.
        model: usize,
    },
    /// A piece of a model that is not there.
    #[error("piece {} is of model {}, which is not there", piece + 1, model + 1)]
    NoSuchModel {
        /// Which piece, from zero.
        piece: usize,
        /// The model it names, from zero.
        model: usize,
    },
    /// No direction or no turn to try.
    #[error("at least one direction has to be allowed above, and 1 to 72 turns")]
    NoWayToStand,
    /// No way to hang a piece on a sprue.
    #[error(
        "a tree needs runners, tilts from -80 to 80 degrees, 1 to 72 turns of a piece, 1 to 180 directions, and 2 to 12 branches where it has any"
    )]
    NoWayToHang,
    /// Too many cells.
    #[error("cells of {pitch_mm} mm are too fine for this size; use coarser ones")]
    TooFine {
        /// Their edge.
        pitch_mm: f64,
    },
}

/// Refuses a length out of its range, and what is no number.
pub(super) fn within(
    what: &'static str,
    given_mm: f64,
    least_mm: f64,
    most_mm: f64,
) -> Result<(), PackRefusal> {
    if (least_mm..=most_mm).contains(&given_mm) {
        return Ok(());
    }
    Err(PackRefusal::OutOfRange { what, given_mm, least_mm, most_mm })
}
