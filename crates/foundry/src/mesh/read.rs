//! Recognises a model file by what is in it and reads it.

use std::borrow::Cow;
use std::io::{BufReader, Read};

use super::{Mesh, MeshRefusal, Unit, obj, ply, stl, threemf};

/// A kind of model file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Format {
    /// STL, binary: 50 bytes a triangle, single precision, no unit.
    StlBinary,
    /// STL as text.
    StlText,
    /// OBJ: points and polygons as text, no unit.
    Obj,
    /// PLY, as text or binary, no unit.
    Ply,
    /// 3MF: zipped XML with a unit.
    ThreeMf,
}

impl std::fmt::Display for Format {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::StlBinary => "STL (binary)",
            Self::StlText => "STL (text)",
            Self::Obj => "OBJ",
            Self::Ply => "PLY",
            Self::ThreeMf => "3MF",
        })
    }
}

/// How much is read before a file is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Largest file, in bytes.
    pub file_bytes: usize,
    /// Most triangles.
    pub triangles: usize,
    /// Most bytes a zipped file may unpack to.
    pub unpacked_bytes: usize,
    /// Most times its packed size that a zipped part above one megabyte may unpack to.
    pub unpack_ratio: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            file_bytes: 300 << 20,
            triangles: 6_000_000,
            unpacked_bytes: 1 << 30,
            unpack_ratio: 200,
        }
    }
}

/// A model as read from a file.
#[derive(Debug, Clone, PartialEq)]
pub struct ModelFile {
    /// The surface in the file's own unit, with coinciding points made one.
    pub mesh: Mesh,
    /// What kind of file it was.
    pub format: Format,
    /// The unit the file states; only 3MF states one.
    pub unit: Option<Unit>,
    /// The names of the solids, groups or objects, as far as there are any.
    pub names: Vec<String>,
    /// What was left out or set right while reading, in sentences.
    pub notes: Vec<String>,
}

impl ModelFile {
    /// The surface in millimetres, the file's numbers being in the given unit.
    ///
    /// # Refuses
    /// A unit that makes the coordinates unusably large.
    pub fn in_millimetres(&self, unit: Unit) -> Result<Mesh, MeshRefusal> {
        match unit {
            Unit::Millimetre => Ok(self.mesh.clone()),
            other => self.mesh.scaled(other.in_millimetres()),
        }
    }
}

/// Why a file could not be read as a model, and what to do about it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ReadRefusal {
    /// No bytes.
    #[error("The file is empty. Export the model again and check that the export finishes.")]
    Empty,
    /// More bytes than are accepted.
    #[error(
        "The file has {} MB; at most {} MB are accepted. Export it with a coarser tolerance, or as binary STL or 3MF.",
        bytes >> 20, limit >> 20
    )]
    FileTooLarge {
        /// Its size in bytes.
        bytes: usize,
        /// The limit in bytes.
        limit: usize,
    },
    /// The source broke off.
    #[error("The file could not be read to its end: {why}. Try again.")]
    Interrupted {
        /// What the source said.
        why: String,
    },
    /// Something else than a model.
    #[error("This is {what}, not a model that can be read. Send STL, 3MF, OBJ or PLY.")]
    NotAMesh {
        /// What it seems to be.
        what: &'static str,
    },
    /// A model file without a single triangle.
    #[error(
        "The {format} file holds no triangles{}. Export the solid as a mesh; sketches, curves and point clouds cannot be cast.",
        if *other_shapes { ", only points, lines or curves" } else { "" }
    )]
    NoTriangles {
        /// Its kind.
        format: Format,
        /// Whether it holds points, lines or curves instead.
        other_shapes: bool,
    },
    /// The file ends before its content does.
    #[error(
        "The {format} file is cut short: {detail}. Copy or export it again; the transfer or the export was interrupted."
    )]
    Truncated {
        /// Its kind.
        format: Format,
        /// What is missing.
        detail: Cow<'static, str>,
    },
    /// A coordinate that is no usable number.
    #[error(
        "The {format} file has a coordinate that is not a usable number (NaN, infinite or beyond 1e9) at {place}. The file is damaged or the export failed; check the model for broken faces and export it again."
    )]
    BadCoordinate {
        /// Its kind.
        format: Format,
        /// Where.
        place: Place,
    },
    /// More triangles than are accepted.
    #[error(
        "The model has more than {limit} triangles. Export it with a coarser tolerance; 0.01 mm is finer than any cast surface."
    )]
    TooManyTriangles {
        /// The limit.
        limit: usize,
    },
    /// A zipped file that would unpack to more than is accepted.
    #[error(
        "The 3MF file would unpack to more than is accepted ({} MB, or {ratio} times its size). Export it with a coarser tolerance, or as binary STL.",
        limit >> 20
    )]
    UnpacksTooLarge {
        /// The limit in bytes.
        limit: usize,
        /// The limit as a multiple of the packed size.
        ratio: usize,
    },
    /// The rules of the format are broken.
    #[error("The {format} file is damaged at {place}: {what}. Export the model again.")]
    Malformed {
        /// Its kind.
        format: Format,
        /// Where.
        place: Place,
        /// What is wrong.
        what: Cow<'static, str>,
    },
    /// A part of the format that is not read here.
    #[error("The {format} file uses {what}, which is not read here. {instead}")]
    Unsupported {
        /// Its kind.
        format: Format,
        /// The part in question.
        what: Cow<'static, str>,
        /// What to do instead.
        instead: &'static str,
    },
}

/// A place in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// The file as a whole.
    File,
    /// A line of text, counted from one.
    Line(usize),
    /// A byte, counted from zero.
    Byte(usize),
    /// A triangle, counted from one.
    Triangle(usize),
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::File => f.write_str("the whole"),
            Self::Line(line) => write!(f, "line {line}"),
            Self::Byte(byte) => write!(f, "byte {byte}"),
            Self::Triangle(triangle) => write!(f, "triangle {triangle}"),
        }
    }
}

/// Reads a model within the usual [`Limits`].
///
/// The content decides what kind of file it is; the name only helps where the
/// content leaves it open.
///
/// # Units
/// The mesh is in the file's own unit, see [`ModelFile`].
///
/// # Source
/// STL: StereoLithography Interface Specification, 3D Systems, 1989 (from memory).
/// OBJ: Wavefront, Advanced Visualizer manual, appendix B1 (from memory).
/// PLY: G. Turk, The PLY Polygon File Format, Stanford University, 1994 (from memory).
/// 3MF: 3MF Consortium, Core Specification 1.3 and Production Extension 1.1 (from memory).
///
/// # Refuses
/// See [`ReadRefusal`].
pub fn read(bytes: &[u8], name_hint: &str) -> Result<ModelFile, ReadRefusal> {
    read_within(bytes, name_hint, &Limits::default())
}

/// Reads a model within the limits given; otherwise as [`read`].
///
/// # Refuses
/// See [`ReadRefusal`].
pub fn read_within(
    bytes: &[u8],
    name_hint: &str,
    limits: &Limits,
) -> Result<ModelFile, ReadRefusal> {
    if bytes.is_empty() {
        return Err(ReadRefusal::Empty);
    }
    if bytes.len() > limits.file_bytes {
        return Err(ReadRefusal::FileTooLarge { bytes: bytes.len(), limit: limits.file_bytes });
    }
    match recognise(bytes, name_hint)? {
        Format::StlBinary => stl::read_binary(bytes, limits),
        Format::StlText => stl::read_text(bytes, limits),
        Format::Obj => obj::read(bytes, limits),
        Format::Ply => ply::read(bytes, limits),
        Format::ThreeMf => threemf::read(bytes, limits),
    }
}

/// Reads a model of a stated number of bytes as it comes, within the usual [`Limits`];
/// otherwise as [`read`].
///
/// A binary STL file takes about twice the memory of its mesh and never lies in memory
/// itself; any other file is taken in whole first.
///
/// # Refuses
/// See [`ReadRefusal`].
pub fn read_from(source: impl Read, bytes: u64, name_hint: &str) -> Result<ModelFile, ReadRefusal> {
    let limits = Limits::default();
    let size = usize::try_from(bytes).unwrap_or(usize::MAX);
    if size > limits.file_bytes {
        return Err(ReadRefusal::FileTooLarge { bytes: size, limit: limits.file_bytes });
    }
    let interrupted = |why: std::io::Error| ReadRefusal::Interrupted { why: why.to_string() };
    let mut source = BufReader::with_capacity(1 << 16, source);
    let mut whole = Vec::new();
    source.by_ref().take(stl::HEADER as u64).read_to_end(&mut whole).map_err(interrupted)?;
    if let Some(read) = stl::read_binary_from(&whole, bytes, &mut source, &limits) {
        return read;
    }
    whole.reserve_exact(size.saturating_sub(whole.len()));
    source.take(limits.file_bytes as u64).read_to_end(&mut whole).map_err(interrupted)?;
    read_within(&whole, name_hint, &limits)
}

/// Beginnings of files that people send by mistake.
const OTHER_FILES: [(&[u8], &str); 14] = [
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"RIFF", "a sound or picture"),
    (b"ISO-10303-21", "a STEP file of exact surfaces"),
    (b"glTF", "a glTF scene"),
    (b"Kaydara FBX", "an FBX scene"),
    (b"BLENDER", "a scene of a modelling program"),
    (b"3D Geometry File Format", "a drawing of a modelling program"),
    (b"AC10", "a DWG drawing"),
    (b"\x1f\x8b", "a gzip archive (unpack it first)"),
    (b"Rar!", "a RAR archive (unpack it first)"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive (unpack it first)"),
];

fn recognise(bytes: &[u8], name_hint: &str) -> Result<Format, ReadRefusal> {
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") {
        return Ok(Format::ThreeMf);
    }
    if bytes.starts_with(b"ply\n") || bytes.starts_with(b"ply\r") {
        return Ok(Format::Ply);
    }
    if stl::looks_like_text(bytes) {
        return Ok(Format::StlText);
    }
    if stl::has_exact_binary_length(bytes) {
        return Ok(Format::StlBinary);
    }
    if let Some(&(_, what)) = OTHER_FILES.iter().find(|(start, _)| bytes.starts_with(start)) {
        return Err(ReadRefusal::NotAMesh { what });
    }
    let name = name_hint.to_ascii_lowercase();
    if obj::looks_like(bytes) || (name.ends_with(".obj") && is_text(bytes)) {
        return Ok(Format::Obj);
    }
    let damaged = stl::could_be_damaged_binary(bytes);
    // The number of triangles is absurd, and what follows it are none.
    if name.ends_with(".stl") && !is_text(bytes) && !damaged && !stl::has_plausible_triangles(bytes)
    {
        return Err(ReadRefusal::NotAMesh {
            what: "an unknown kind of file, though its name ends in .stl",
        });
    }
    if name.ends_with(".stl") || damaged {
        return Ok(if is_text(bytes) { Format::StlText } else { Format::StlBinary });
    }
    Err(ReadRefusal::NotAMesh {
        what: if is_text(bytes) { "some other text" } else { "an unknown kind of file" },
    })
}

/// Whether the beginning of a file is free of the control bytes that text never has.
pub(super) fn is_text(bytes: &[u8]) -> bool {
    let start = &bytes[..bytes.len().min(1024)];
    start.iter().all(|&byte| byte >= b' ' || matches!(byte, b'\t' | b'\n' | b'\r' | b'\x0c'))
}

/// A coordinate from text. `None` when it is no number at all; NaN and infinity come through.
pub(super) fn number(token: &[u8]) -> Option<f64> {
    std::str::from_utf8(token).ok()?.parse().ok()
}

/// A name from a file, without control characters and not absurdly long.
pub(super) fn tidy_name(raw: &[u8]) -> Option<String> {
    let name: String = String::from_utf8_lossy(raw)
        .trim()
        .chars()
        .filter(|c| !c.is_control() && *c != char::REPLACEMENT_CHARACTER)
        .take(120)
        .collect();
    (!name.is_empty()).then_some(name)
}
