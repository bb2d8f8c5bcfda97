//! STL, binary and as text.
//!
//! The normals in the file are ignored: they are often missing or wrong, and the
//! order of the corners says the same.

use std::io::Read;

use super::indexed::is_usable;
use super::read::{Format, Limits, ModelFile, Place, ReadRefusal, is_text, number, tidy_name};
use super::weld::Welder;
use super::{Mesh, Point};

/// Bytes before the first triangle of a binary file.
pub(super) const HEADER: usize = 84;
const RECORD: usize = 50;

/// So many triangles of a binary file are welded at a time.
const GROUP: usize = 8;

/// How many triangles the header of a binary file claims.
fn claimed(bytes: &[u8]) -> Option<usize> {
    let count = bytes.get(80..HEADER)?;
    Some(u32::from_le_bytes([count[0], count[1], count[2], count[3]]) as usize)
}

/// Whether the length is the one the count in the header asks for.
pub(super) fn has_exact_binary_length(bytes: &[u8]) -> bool {
    claimed(bytes).is_some_and(|count| HEADER + count * RECORD == bytes.len())
}

/// Whether this may be a binary file with too few or too many bytes at its end.
pub(super) fn could_be_damaged_binary(bytes: &[u8]) -> bool {
    !is_text(bytes)
        && claimed(bytes).is_some_and(|count| {
            let due = HEADER + count * RECORD;
            count > 0 && (due <= bytes.len() || bytes.len() > HEADER && due / 2 <= bytes.len())
        })
}

/// Whether the first triangles of a binary file could be some: their normals are no longer than
/// one and their corners are usable. Of a file that is cut off within the first, all is possible.
pub(super) fn has_plausible_triangles(bytes: &[u8]) -> bool {
    let records = bytes.get(HEADER..).unwrap_or_default().chunks_exact(RECORD);
    records.take(GROUP).all(|record| {
        let mut normal = (0..12).step_by(4).map(|at| {
            f32::from_le_bytes([record[at], record[at + 1], record[at + 2], record[at + 3]])
        });
        normal.all(|part| part.abs() <= 1.001) && (0..3).all(|at| is_usable(corner(record, at)))
    })
}

/// Whether this is STL as text; a binary file may begin with `solid` as well.
pub(super) fn looks_like_text(bytes: &[u8]) -> bool {
    let start = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes).trim_ascii_start();
    let start = &start[..start.len().min(1024)];
    let starts = start.get(..5).is_some_and(|word| word.eq_ignore_ascii_case(b"solid"));
    let holds = |word: &[u8]| start.windows(word.len()).any(|w| w.eq_ignore_ascii_case(word));
    starts && is_text(start) && (holds(b"facet") || holds(b"endsolid") || start.len() < HEADER)
}

/// Reads a binary file; one padded at its end with a single repeated byte is accepted.
pub(super) fn read_binary(bytes: &[u8], limits: &Limits) -> Result<ModelFile, ReadRefusal> {
    const FORMAT: Format = Format::StlBinary;
    let Some(count) = claimed(bytes) else {
        return Err(ReadRefusal::Truncated {
            format: FORMAT,
            detail: format!("it has {} bytes, less than its header needs", bytes.len()).into(),
        });
    };
    if count == 0 {
        return Err(ReadRefusal::NoTriangles { format: FORMAT, other_shapes: false });
    }
    let body = &bytes[HEADER..];
    if body.len() / RECORD < count {
        return Err(ReadRefusal::Truncated {
            format: FORMAT,
            detail: format!("it says {count} triangles and holds {}", body.len() / RECORD).into(),
        });
    }
    if count > limits.triangles {
        return Err(ReadRefusal::TooManyTriangles { limit: limits.triangles });
    }
    let (records, tail) = body.split_at(count * RECORD);
    let mut notes = Vec::new();
    if let Some(&pad) = tail.first() {
        if tail.iter().any(|&byte| byte != pad) {
            return Err(ReadRefusal::Malformed {
                format: FORMAT,
                place: Place::Byte(HEADER + count * RECORD),
                what: format!(
                    "it says {count} triangles, which need {} bytes, but it has {}; it was perhaps sent as text",
                    HEADER + count * RECORD,
                    bytes.len()
                )
                .into(),
            });
        }
        notes.push(format!("{} padding bytes at the end of the file were ignored.", tail.len()));
    }
    let mut model = read_records(bytes, count, records)?;
    model.notes = notes;
    Ok(model)
}

/// Reads a binary file of the right length as it comes; `header` is what stands before its
/// triangles. `None` leaves the source untouched: it is something else, or damaged.
pub(super) fn read_binary_from(
    header: &[u8],
    bytes: u64,
    source: impl Read,
    limits: &Limits,
) -> Option<Result<ModelFile, ReadRefusal>> {
    let count = claimed(header).filter(|&count| count > 0 && count <= limits.triangles)?;
    if (HEADER + count * RECORD) as u64 != bytes || looks_like_text(header) {
        return None;
    }
    Some(read_records(header, count, source))
}

/// So many triangles from their records.
fn read_records(
    header: &[u8],
    count: usize,
    mut records: impl Read,
) -> Result<ModelFile, ReadRefusal> {
    const FORMAT: Format = Format::StlBinary;
    let mut welder = Welder::new(count / 2);
    let mut triangles = Vec::with_capacity(count);
    let mut group = [0; RECORD * GROUP];
    while triangles.len() < count {
        let held = GROUP.min(count - triangles.len());
        records
            .read_exact(&mut group[..RECORD * held])
            .map_err(|why| ReadRefusal::Interrupted { why: why.to_string() })?;
        let mut points = [[0.0; 3]; 3 * GROUP];
        for (at, point) in points[..3 * held].iter_mut().enumerate() {
            *point = corner(&group[at / 3 * RECORD..], at % 3);
        }
        if let Some(at) = points.iter().position(|&point| !is_usable(point)) {
            let place = Place::Triangle(triangles.len() + at / 3 + 1);
            return Err(ReadRefusal::BadCoordinate { format: FORMAT, place });
        }
        if held == GROUP {
            let indices = welder.indices(points);
            triangles.extend(indices.chunks_exact(3).map(|three| [three[0], three[1], three[2]]));
        } else {
            for three in points[..3 * held].chunks_exact(3) {
                triangles.push(welder.indices([three[0], three[1], three[2]]));
            }
        }
    }
    let header = header[..80].trim_ascii();
    let name = header.strip_prefix(b"solid").unwrap_or(header);
    let names = if is_text(name) { tidy_name(name).into_iter().collect() } else { Vec::new() };
    let mesh = Mesh::trusted(welder.into_vertices(), triangles);
    Ok(ModelFile { mesh, format: FORMAT, unit: None, names, notes: Vec::new() })
}

/// A corner of the triangle in a record.
fn corner(record: &[u8], corner: usize) -> Point {
    let raw = &record[12 + corner * 12..24 + corner * 12];
    let coordinate =
        |at: usize| f64::from(f32::from_le_bytes([raw[at], raw[at + 1], raw[at + 2], raw[at + 3]]));
    [coordinate(0), coordinate(4), coordinate(8)]
}

/// Reads a text file; it may hold several solids.
pub(super) fn read_text(bytes: &[u8], limits: &Limits) -> Result<ModelFile, ReadRefusal> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut words = Words { bytes, at: 0, line: 1 };
    let mut welder = Welder::new(bytes.len() / 512);
    let mut triangles = Vec::new();
    let mut names = Vec::new();
    let mut solids = 0;
    while let Some(word) = words.next() {
        if !word.eq_ignore_ascii_case(b"solid") {
            return Err(words.expected("solid", word));
        }
        solids += 1;
        names.extend(tidy_name(words.rest_of_line()).filter(|_| names.len() < 1000));
        loop {
            let word = words.needed("endsolid")?;
            if word.eq_ignore_ascii_case(b"endsolid") {
                words.rest_of_line();
                break;
            }
            if !word.eq_ignore_ascii_case(b"facet") {
                return Err(words.expected("facet or endsolid", word));
            }
            if triangles.len() == limits.triangles {
                return Err(ReadRefusal::TooManyTriangles { limit: limits.triangles });
            }
            triangles.push(read_facet(&mut words, &mut welder)?);
        }
    }
    if triangles.is_empty() {
        return Err(ReadRefusal::NoTriangles { format: Format::StlText, other_shapes: false });
    }
    let notes = if solids > 1 {
        vec![format!("The file holds {solids} solids; they were read as one model.")]
    } else {
        Vec::new()
    };
    let mesh = Mesh::trusted(welder.into_vertices(), triangles);
    Ok(ModelFile { mesh, format: Format::StlText, unit: None, names, notes })
}

/// Reads from after `facet` to `endfacet`, whatever stands for the normal.
fn read_facet(words: &mut Words<'_>, welder: &mut Welder) -> Result<[u32; 3], ReadRefusal> {
    // "normal" and up to three numbers, all ignored and all allowed to be missing.
    let mut skipped = 0;
    loop {
        let word = words.needed("outer loop")?;
        if word.eq_ignore_ascii_case(b"outer") {
            break;
        }
        skipped += 1;
        if skipped > 4 {
            return Err(words.expected("outer loop", word));
        }
    }
    words.keyword("loop")?;
    let mut triangle = [0; 3];
    for index in &mut triangle {
        words.keyword("vertex")?;
        let point = [words.coordinate()?, words.coordinate()?, words.coordinate()?];
        if !is_usable(point) {
            let place = Place::Line(words.line);
            return Err(ReadRefusal::BadCoordinate { format: Format::StlText, place });
        }
        *index = welder.index(point);
    }
    words.keyword("endloop")?;
    words.keyword("endfacet")?;
    Ok(triangle)
}

/// The words of a text file and where they stand.
struct Words<'a> {
    bytes: &'a [u8],
    at: usize,
    line: usize,
}

impl<'a> Words<'a> {
    fn next(&mut self) -> Option<&'a [u8]> {
        while let Some(&byte) = self.bytes.get(self.at) {
            if !byte.is_ascii_whitespace() {
                break;
            }
            self.line += usize::from(byte == b'\n');
            self.at += 1;
        }
        let rest = self.bytes.get(self.at..).filter(|rest| !rest.is_empty())?;
        let length = rest.iter().position(u8::is_ascii_whitespace).unwrap_or(rest.len());
        self.at += length;
        Some(&rest[..length])
    }

    fn rest_of_line(&mut self) -> &'a [u8] {
        let rest = &self.bytes[self.at..];
        let length = rest.iter().position(|&byte| byte == b'\n').unwrap_or(rest.len());
        self.at += length;
        &rest[..length]
    }

    fn needed(&mut self, what: &str) -> Result<&'a [u8], ReadRefusal> {
        self.next().ok_or_else(|| ReadRefusal::Truncated {
            format: Format::StlText,
            detail: format!("\"{what}\" is missing at its end").into(),
        })
    }

    fn keyword(&mut self, keyword: &str) -> Result<(), ReadRefusal> {
        let word = self.needed(keyword)?;
        if word.eq_ignore_ascii_case(keyword.as_bytes()) {
            Ok(())
        } else {
            Err(self.expected(keyword, word))
        }
    }

    fn coordinate(&mut self) -> Result<f64, ReadRefusal> {
        let word = self.needed("a coordinate")?;
        number(word).ok_or_else(|| self.expected("a coordinate (with a point, not a comma)", word))
    }

    fn expected(&self, what: &str, found: &[u8]) -> ReadRefusal {
        if self.at == self.bytes.len() {
            return ReadRefusal::Truncated {
                format: Format::StlText,
                detail: "it ends in the middle of a word".into(),
            };
        }
        let found = String::from_utf8_lossy(&found[..found.len().min(40)]);
        ReadRefusal::Malformed {
            format: Format::StlText,
            place: Place::Line(self.line),
            what: format!("{what} was expected, \"{}\" found", found.escape_debug()).into(),
        }
    }
}
