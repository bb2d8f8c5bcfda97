//! A model file named on the command line, read and brought to millimetres.

use std::path::{Path, PathBuf};

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
        read(&self.file, self.unit)
    }
}

/// Several files that share a unit.
#[derive(Args, Debug)]
pub(super) struct ModelsArgs {
    /// The models: STL, OBJ, 3MF or PLY. A file may be followed by a colon and how many of it:
    /// ring.stl:6
    #[arg(required = true, value_name = "FILE[:COUNT]")]
    files: Vec<String>,
    /// The unit of their numbers: mm, cm, m, inch, foot or micron; otherwise what each file says, or what its size suggests
    #[arg(long, value_parser = unit)]
    unit: Option<Unit>,
}

/// Most copies of all files together.
const MOST_COPIES: usize = 2000;

impl ModelsArgs {
    /// Reads all files, each with how many are wanted of it.
    pub(super) fn read(&self) -> Result<Vec<(Model, usize)>, CliFault> {
        let mut models = Vec::new();
        for named in &self.files {
            let (file, count) = copies(named)?;
            models.push((read(&file, self.unit)?, count));
        }
        let all: usize = models.iter().map(|(_, count)| count).sum();
        if all > MOST_COPIES {
            return Err(CliFault::Refused(format!(
                "{all} pieces are too many at once; at most {MOST_COPIES} are packed together"
            )));
        }
        Ok(models)
    }
}

/// The file and the count of one argument; a file whose name ends like a count is itself.
fn copies(named: &str) -> Result<(PathBuf, usize), CliFault> {
    let whole = PathBuf::from(named);
    let Some((file, count)) = named.rsplit_once(':').filter(|_| !whole.exists()) else {
        return Ok((whole, 1));
    };
    match count.parse() {
        Ok(count @ 1..=MOST_COPIES) => Ok((PathBuf::from(file), count)),
        _ => Err(CliFault::Refused(format!(
            "{named}: after the colon comes how many of the file, from 1 to {MOST_COPIES}"
        ))),
    }
}

fn read(path: &Path, told: Option<Unit>) -> Result<Model, CliFault> {
    let name = path.file_name().unwrap_or(path.as_os_str());
    let name = name.to_string_lossy().into_owned();
    let refused = |why: String| CliFault::Refused(format!("{name}: {why}"));
    let size = std::fs::metadata(path).map_err(|error| refused(error.to_string()))?.len();
    let limit = Limits::default().file_bytes;
    if usize::try_from(size).is_ok_and(|bytes| bytes > limit) {
        let bytes = usize::try_from(size).unwrap_or(usize::MAX);
        let why = mesh::ReadRefusal::FileTooLarge { bytes, limit };
        return Err(refused(why.to_string()));
    }
    let source = std::fs::File::open(path).map_err(|error| refused(error.to_string()))?;
    let file = mesh::read_from(source, size, &name).map_err(|why| refused(why.to_string()))?;
    let guess = mesh::guess_unit(&file);
    let (unit, certain, reason) = match (told, guess.certainty) {
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

/// Lengths separated by x, such as 120x68x150.
pub(super) fn lengths<const N: usize>(text: &str) -> Result<[f64; N], String> {
    let numbers: Option<Vec<f64>> = text
        .split(['x', 'X', '×'])
        .map(|number| number.trim().parse().ok().filter(|mm: &f64| mm.is_finite() && *mm > 0.0))
        .collect();
    numbers.and_then(|numbers| numbers.try_into().ok()).ok_or_else(|| {
        let example = ["120", "68", "150"];
        format!(
            "“{text}” is not {N} lengths in millimetres above 0, such as {}",
            example[..N].join("x")
        )
    })
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
