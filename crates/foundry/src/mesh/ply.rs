//! PLY, as text and binary in both byte orders.

use super::indexed::is_usable;
use super::polygon::{MOST_CORNERS, triangulate};
use super::read::{Format, Limits, ModelFile, Place, ReadRefusal, number};
use super::{Mesh, Point};

/// Reads the points and faces of a PLY file; other elements and properties are passed over.
pub(super) fn read(bytes: &[u8], limits: &Limits) -> Result<ModelFile, ReadRefusal> {
    let (header, body_at) = Header::read(bytes)?;
    let mut body = Body { bytes, at: body_at, encoding: header.encoding };
    let mut surface = Surface::default();
    let mut other_shapes = false;
    for element in &header.elements {
        match element.name.as_str() {
            "vertex" => surface.read_vertices(element, &mut body, limits)?,
            "face" => surface.read_faces(element, &mut body, limits)?,
            "tristrips" => {
                return Err(ReadRefusal::Unsupported {
                    format: Format::Ply,
                    what: "triangle strips".into(),
                    instead: "Export it with plain faces.",
                });
            }
            _ => {
                other_shapes = true;
                for _ in 0..element.count {
                    for property in &element.properties {
                        body.skip(property)?;
                    }
                }
            }
        }
    }
    if surface.triangles.is_empty() {
        let other_shapes = other_shapes || !surface.vertices.is_empty();
        return Err(ReadRefusal::NoTriangles { format: Format::Ply, other_shapes });
    }
    let mesh = Mesh::trusted(surface.vertices, surface.triangles).welded();
    Ok(ModelFile { mesh, format: Format::Ply, unit: None, names: Vec::new(), notes: Vec::new() })
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Encoding {
    Text,
    Little,
    Big,
}

/// The number types of PLY.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    F32,
    F64,
}

impl Kind {
    fn from_name(name: &str) -> Option<Self> {
        Some(match name {
            "char" | "int8" => Self::I8,
            "uchar" | "uint8" => Self::U8,
            "short" | "int16" => Self::I16,
            "ushort" | "uint16" => Self::U16,
            "int" | "int32" => Self::I32,
            "uint" | "uint32" => Self::U32,
            "float" | "float32" => Self::F32,
            "double" | "float64" => Self::F64,
            _ => return None,
        })
    }

    fn bytes(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::I32 | Self::U32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }
}

struct Property {
    name: String,
    kind: Kind,
    /// The type of the length, for a list.
    list: Option<Kind>,
}

struct Element {
    name: String,
    count: usize,
    properties: Vec<Property>,
}

struct Header {
    encoding: Encoding,
    elements: Vec<Element>,
}

impl Header {
    /// Reads up to `end_header`; also gives the byte at which the body begins.
    fn read(bytes: &[u8]) -> Result<(Self, usize), ReadRefusal> {
        let mut encoding = None;
        let mut elements: Vec<Element> = Vec::new();
        let mut at = 0;
        for number in 1.. {
            // A header of more than a thousand lines is none.
            let rest = bytes.get(at..).filter(|rest| !rest.is_empty() && number <= 1000);
            let Some(rest) = rest else {
                let detail = "\"end_header\" is missing".into();
                return Err(ReadRefusal::Truncated { format: Format::Ply, detail });
            };
            // Lines may end in LF, CR or CRLF.
            let Some(length) = rest.iter().position(|b| matches!(b, b'\n' | b'\r')) else {
                let detail = "it ends within its header".into();
                return Err(ReadRefusal::Truncated { format: Format::Ply, detail });
            };
            at += length + if rest[length..].starts_with(b"\r\n") { 2 } else { 1 };
            let bad = |what: &'static str| malformed(Place::Line(number), what);
            let line = std::str::from_utf8(&rest[..length]).map_err(|_| bad("no text"))?;
            let words: Vec<&str> = line.split_ascii_whitespace().collect();
            match words.as_slice() {
                [] | ["ply" | "comment" | "obj_info", ..] => {}
                ["format", "ascii", _] => encoding = Some(Encoding::Text),
                ["format", "binary_little_endian", _] => encoding = Some(Encoding::Little),
                ["format", "binary_big_endian", _] => encoding = Some(Encoding::Big),
                ["element", name, count] => elements.push(Element {
                    name: (*name).to_owned(),
                    count: count.parse().map_err(|_| bad("a count is not a number"))?,
                    properties: Vec::new(),
                }),
                ["property", rest @ ..] => {
                    let property = match rest {
                        ["list", length, kind, name] => Kind::from_name(length)
                            .zip(Kind::from_name(kind))
                            .map(|(l, kind)| (Some(l), kind, name)),
                        [kind, name] => Kind::from_name(kind).map(|kind| (None, kind, name)),
                        _ => None,
                    };
                    let (list, kind, name) = property.ok_or_else(|| bad("unknown property"))?;
                    let element = elements.last_mut().ok_or_else(|| bad("property of nothing"))?;
                    element.properties.push(Property { name: (*name).to_owned(), kind, list });
                }
                ["end_header"] => break,
                _ => return Err(bad("unknown word in the header")),
            }
        }
        let encoding =
            encoding.ok_or_else(|| malformed(Place::File, "the header names no known format"))?;
        if let Some(empty) = elements.iter().find(|e| e.properties.is_empty() && e.count > 0) {
            let what = format!("the element \"{}\" has no properties", empty.name);
            return Err(ReadRefusal::Malformed {
                format: Format::Ply,
                place: Place::File,
                what: what.into(),
            });
        }
        Ok((Self { encoding, elements }, at.min(bytes.len())))
    }
}

/// The numbers after the header.
struct Body<'a> {
    bytes: &'a [u8],
    at: usize,
    encoding: Encoding,
}

impl Body<'_> {
    fn number(&mut self, kind: Kind) -> Result<f64, ReadRefusal> {
        if self.encoding == Encoding::Text {
            return self.word();
        }
        let size = kind.bytes();
        let raw = self.bytes.get(self.at..self.at + size).ok_or_else(|| cut_short(self.at))?;
        self.at += size;
        let mut little = [0; 8];
        little[..size].copy_from_slice(raw);
        if self.encoding == Encoding::Big {
            little[..size].reverse();
        }
        let bits = u64::from_le_bytes(little);
        Ok(match kind {
            Kind::I8 => f64::from(bits as u8 as i8),
            Kind::U8 => f64::from(bits as u8),
            Kind::I16 => f64::from(bits as u16 as i16),
            Kind::U16 => f64::from(bits as u16),
            Kind::I32 => f64::from(bits as u32 as i32),
            Kind::U32 => f64::from(bits as u32),
            Kind::F32 => f64::from(f32::from_bits(bits as u32)),
            Kind::F64 => f64::from_bits(bits),
        })
    }

    fn word(&mut self) -> Result<f64, ReadRefusal> {
        let rest = &self.bytes[self.at..];
        let blank = rest.iter().position(|byte| !byte.is_ascii_whitespace());
        let start = self.at + blank.ok_or_else(|| cut_short(self.at))?;
        let rest = &self.bytes[start..];
        let length = rest.iter().position(u8::is_ascii_whitespace).unwrap_or(rest.len());
        self.at = start + length;
        number(&rest[..length])
            .ok_or_else(|| malformed(Place::Byte(start), "a number was expected"))
    }

    /// A number that counts or points at something.
    fn whole(&mut self, kind: Kind) -> Result<usize, ReadRefusal> {
        let at = self.at;
        let value = self.number(kind)?;
        if value >= 0.0 && value <= f64::from(u32::MAX) && value.fract() == 0.0 {
            Ok(value as usize)
        } else {
            Err(malformed(Place::Byte(at), "a count or index is not a whole number"))
        }
    }

    fn skip(&mut self, property: &Property) -> Result<(), ReadRefusal> {
        let length = match property.list {
            Some(kind) => self.whole(kind)?,
            None => 1,
        };
        for _ in 0..length {
            self.number(property.kind)?;
        }
        Ok(())
    }
}

#[derive(Default)]
struct Surface {
    vertices: Vec<Point>,
    triangles: Vec<[u32; 3]>,
}

impl Surface {
    fn read_vertices(
        &mut self,
        element: &Element,
        body: &mut Body<'_>,
        limits: &Limits,
    ) -> Result<(), ReadRefusal> {
        let axes: Vec<Option<usize>> = element
            .properties
            .iter()
            .map(|p| ["x", "y", "z"].iter().position(|n| p.name == *n && p.list.is_none()))
            .collect();
        if (0..3).any(|axis| axes.iter().filter(|a| **a == Some(axis)).count() != 1) {
            return Err(malformed(Place::File, "the points do not have x, y and z"));
        }
        if element.count / 3 > limits.triangles {
            return Err(ReadRefusal::TooManyTriangles { limit: limits.triangles });
        }
        // The count is only a claim: each point takes bytes, so the file bounds it.
        self.vertices.reserve(element.count.min(body.bytes.len() / 3));
        for _ in 0..element.count {
            let at = body.at;
            let mut point = [0.0; 3];
            for (property, axis) in element.properties.iter().zip(&axes) {
                match axis {
                    Some(axis) => point[*axis] = body.number(property.kind)?,
                    None => body.skip(property)?,
                }
            }
            if !is_usable(point) {
                let place = Place::Byte(at);
                return Err(ReadRefusal::BadCoordinate { format: Format::Ply, place });
            }
            self.vertices.push(point);
        }
        Ok(())
    }

    fn read_faces(
        &mut self,
        element: &Element,
        body: &mut Body<'_>,
        limits: &Limits,
    ) -> Result<(), ReadRefusal> {
        let is_corners =
            |p: &Property| matches!(p.name.as_str(), "vertex_indices" | "vertex_index");
        let mut face: Vec<u32> = Vec::new();
        let mut outline: Vec<Point> = Vec::new();
        for _ in 0..element.count {
            for property in &element.properties {
                let Some(length) = property.list.filter(|_| is_corners(property)) else {
                    body.skip(property)?;
                    continue;
                };
                let at = body.at;
                let corners = body.whole(length)?;
                if !(3..=MOST_CORNERS).contains(&corners) {
                    let what = "a face must have 3 to 1000 corners";
                    return Err(malformed(Place::Byte(at), what));
                }
                if self.triangles.len() + corners - 2 > limits.triangles {
                    return Err(ReadRefusal::TooManyTriangles { limit: limits.triangles });
                }
                face.clear();
                outline.clear();
                for _ in 0..corners {
                    let index = body.whole(property.kind)?;
                    let point = self.vertices.get(index).ok_or_else(|| {
                        malformed(Place::Byte(at), "a face refers to a point that is not there")
                    })?;
                    face.push(index as u32);
                    outline.push(*point);
                }
                let triangles = &mut self.triangles;
                triangulate(&outline, |cut| triangles.push(cut.map(|corner| face[corner])));
            }
        }
        Ok(())
    }
}

fn malformed(place: Place, what: &'static str) -> ReadRefusal {
    ReadRefusal::Malformed { format: Format::Ply, place, what: what.into() }
}

fn cut_short(at: usize) -> ReadRefusal {
    ReadRefusal::Truncated {
        format: Format::Ply,
        detail: format!("a number is missing at byte {at}").into(),
    }
}
