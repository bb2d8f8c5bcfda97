//! A model file named on the command line, read and brought to millimetres.

use std::path::PathBuf;

use clap::Args;
use foundry::mesh::{self, Certainty, Limits, Mesh, ModelFile, Unit};

use super::CliFault;

/// The file and the unit of its numbers.
#[derive(Args, Debug)]
pub(super) struct ModelArgs {
    /// The model: STL, OBJ, 3MF or PLY
    file: PathBuf,
    /// The unit of its numbers: mm, cm, m, inch, foot or micron; otherwise what the file says, or what its size suggests
    #[arg(long, value_parser = unit)]
    unit: Option<Unit>,
}

fn unit(text: &str) -> Result<Unit, String> {
    Unit::from_name(text).ok_or_else(|| {
        format!("“{text}” is not a unit known here; use mm, cm, m, inch, foot or micron")
    })
}

/// A model that was read.
pub(super) struct Model {
    /// The file's name.
    pub(super) name: String,
    /// What was in it.
    pub(super) file: ModelFile,
    /// The unit its numbers are taken to be in.
    pub(super) unit: Unit,
    /// Whether that is sure.
    pub(super) certain: bool,
    /// Why this unit.
    pub(super) reason: String,
}

impl ModelArgs {
    /// Reads the file; a doubt about the unit is said at once.
    pub(super) fn read(&self) -> Result<Model, CliFault> {
        let name = self.file.file_name().unwrap_or(self.file.as_os_str());
        let name = name.to_string_lossy().into_owned();
        let refused = |why: String| CliFault::Refused(format!("{name}: {why}"));
        let size = std::fs::metadata(&self.file).map_err(|error| refused(error.to_string()))?.len();
        let limit = Limits::default().file_bytes;
        if usize::try_from(size).is_ok_and(|bytes| bytes > limit) {
            let bytes = usize::try_from(size).unwrap_or(usize::MAX);
            let why = mesh::ReadRefusal::FileTooLarge { bytes, limit };
            return Err(refused(why.to_string()));
        }
        let bytes = std::fs::read(&self.file).map_err(|error| refused(error.to_string()))?;
        let file = mesh::read(&bytes, &name).map_err(|why| refused(why.to_string()))?;
        drop(bytes);
        let guess = mesh::guess_unit(&file);
        let (unit, certain, reason) = match (self.unit, guess.certainty) {
            (Some(told), _) => (told, true, "As told.".to_owned()),
            (None, Certainty::Stated | Certainty::Sure) => {
                (guess.unit, true, guess.reason.into_owned())
            }
            // Nobody can be asked here: what the file says, or the usual unit, and the doubt with it.
            (None, Certainty::Ask) => {
                let unit = file.unit.unwrap_or(Unit::Millimetre);
                let reason = format!("{} Taken as {unit}; say --unit to be sure.", guess.reason);
                (unit, false, reason)
            }
        };
        if !certain {
            super::warn(&format!("{name}: {reason}"));
        }
        Ok(Model { name, file, unit, certain, reason })
    }
}

impl Model {
    /// The mesh in millimetres.
    pub(super) fn in_millimetres(&self) -> Result<Mesh, CliFault> {
        self.file.in_millimetres(self.unit).map_err(|why| self.refused(&why))
    }

    /// A refusal that names the file.
    pub(super) fn refused(&self, why: &dyn std::fmt::Display) -> CliFault {
        CliFault::Refused(format!("{}: {why}", self.name))
    }
}
