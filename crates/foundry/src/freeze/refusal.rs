//! Why freezing could not be computed.

/// What stood in the way, and what to do about it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FreezeRefusal {
    /// There is no solid to freeze.
    #[error("the model has no triangles; give a closed model")]
    NoModel,
    /// A triangle names a vertex that is not there, or a coordinate is not a number.
    #[error(
        "triangle {triangle} uses a vertex that is missing or not a finite number; repair the model first"
    )]
    BadTriangle {
        /// Number of the triangle, from 0.
        triangle: usize,
    },
    /// A line through the model enters it without leaving it again.
    #[error(
        "the model is not closed: {lines} of {of} test lines enter it without leaving; repair the model first"
    )]
    NotClosed {
        /// Lines that went wrong.
        lines: usize,
        /// Lines tried.
        of: usize,
    },
    /// The voxels are too coarse to hold the model at all.
    #[error(
        "no metal was found at a pitch of {pitch_mm} mm; use a finer pitch or check the model's unit"
    )]
    NoMetal {
        /// The pitch used.
        pitch_mm: f64,
    },
    /// More voxels than memory and patience allow.
    #[error(
        "a pitch of {pitch_mm} mm needs {voxels} voxels, more than {most}; use a coarser pitch"
    )]
    TooFine {
        /// The pitch asked for.
        pitch_mm: f64,
        /// Voxels it would need.
        voxels: usize,
        /// The limit.
        most: usize,
    },
    /// A number is outside the range in which the calculation means anything.
    #[error("{what} must be between {least} and {greatest} {unit}; {given} was given")]
    OutOfRange {
        /// What it is.
        what: &'static str,
        /// Smallest accepted.
        least: f64,
        /// Greatest accepted.
        greatest: f64,
        /// What was given.
        given: f64,
        /// Unit of the three numbers.
        unit: &'static str,
    },
    /// No thermal data under this name.
    #[error("no thermal data for the alloy “{name}”; known are: {known}")]
    UnknownAlloy {
        /// The name asked for.
        name: String,
        /// The names that are known.
        known: String,
    },
    /// A sprue's place is not on the model.
    #[error(
        "sprue {number} is {distance_mm:.2} mm away from the model's surface; place it on the surface"
    )]
    SprueOffSurface {
        /// Number of the sprue, from 1.
        number: usize,
        /// How far it is away.
        distance_mm: f64,
    },
    /// The metal was still liquid at the end of the time allowed.
    #[error(
        "the metal was not solid after {seconds:.0} s: the mould around it is too hot or too thin to take its heat; use a cooler flask or a wider margin"
    )]
    NeverFroze {
        /// How long was computed.
        seconds: f64,
    },
    /// The equations of one time step were not solved to the tolerance.
    #[error(
        "the temperatures did not settle at {seconds:.3} s (still moving by {change_k:.3} K); use a finer pitch, or report this model"
    )]
    NotConverged {
        /// When it happened.
        seconds: f64,
        /// Largest change in the last sweep.
        change_k: f64,
    },
    /// The caller asked to stop.
    #[error("stopped before the result was reached; nothing was kept")]
    Stopped,
}

/// Checks a number against the range in which the calculation is meant to be used.
pub(super) fn within(
    what: &'static str,
    unit: &'static str,
    given: f64,
    least: f64,
    greatest: f64,
) -> Result<f64, FreezeRefusal> {
    // A NaN fails both comparisons and is refused.
    if given >= least && given <= greatest {
        Ok(given)
    } else {
        Err(FreezeRefusal::OutOfRange { what, least, greatest, given, unit })
    }
}
