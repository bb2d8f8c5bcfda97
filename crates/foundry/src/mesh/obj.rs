//! OBJ: points and polygons as text.

use super::indexed::is_usable;
use super::polygon::{MOST_CORNERS, triangulate};
use super::read::{Format, Limits, ModelFile, Place, ReadRefusal, is_text, number, tidy_name};
use super::{Mesh, Point};

/// Whether there is a line with a point near the beginning.
pub(super) fn looks_like(bytes: &[u8]) -> bool {
    let start = &bytes[..bytes.len().min(64 << 10)];
    is_text(bytes)
        && start.split(|&byte| byte == b'\n').any(|line| {
            let mut words = line.split(u8::is_ascii_whitespace).filter(|word| !word.is_empty());
            words.next() == Some(b"v")
                && words.take(3).filter(|word| number(word).is_some()).count() == 3
        })
}

/// Reads an OBJ file: its points and faces, whatever the groups; the rest is passed over.
pub(super) fn read(bytes: &[u8], limits: &Limits) -> Result<ModelFile, ReadRefusal> {
    let mut reader = Reader::new(limits);
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut joined: Vec<u8> = Vec::new();
    for (at, line) in bytes.split(|&byte| byte == b'\n').enumerate() {
        let line = line.trim_ascii();
        if let Some(part) = line.strip_suffix(b"\\") {
            joined.extend_from_slice(part);
            joined.push(b' ');
        } else if joined.is_empty() {
            reader.line(line, at + 1)?;
        } else {
            joined.extend_from_slice(line);
            reader.line(&joined, at + 1)?;
            joined.clear();
        }
    }
    reader.line(&joined, 0)?;
    reader.finish()
}

struct Reader<'a> {
    limits: &'a Limits,
    vertices: Vec<Point>,
    triangles: Vec<[u32; 3]>,
    names: Vec<String>,
    /// Points, lines, curves or free-form surfaces were passed over.
    other_shapes: usize,
    /// The corners of the face being read.
    face: Vec<u32>,
    outline: Vec<Point>,
}

impl<'a> Reader<'a> {
    fn new(limits: &'a Limits) -> Self {
        Self {
            limits,
            vertices: Vec::new(),
            triangles: Vec::new(),
            names: Vec::new(),
            other_shapes: 0,
            face: Vec::new(),
            outline: Vec::new(),
        }
    }

    fn line(&mut self, line: &[u8], at: usize) -> Result<(), ReadRefusal> {
        let line = line.split(|&byte| byte == b'#').next().unwrap_or_default();
        let mut words = line.split(u8::is_ascii_whitespace).filter(|word| !word.is_empty());
        match words.next().unwrap_or_default() {
            b"v" => self.vertex(words, at),
            b"f" | b"fo" => self.face(words, at),
            b"o" | b"g" => {
                let name = tidy_name(line.get(1..).unwrap_or_default());
                if let Some(name) = name
                    && self.names.len() < 1000
                    && !self.names.contains(&name)
                {
                    self.names.push(name);
                }
                Ok(())
            }
            b"p" | b"l" | b"curv" | b"curv2" | b"surf" => {
                self.other_shapes += 1;
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn vertex<'w>(
        &mut self,
        mut words: impl Iterator<Item = &'w [u8]>,
        at: usize,
    ) -> Result<(), ReadRefusal> {
        let mut point = [0.0; 3];
        for coordinate in &mut point {
            *coordinate = words
                .next()
                .and_then(number)
                .ok_or_else(|| malformed(at, "a point needs three numbers"))?;
        }
        if !is_usable(point) {
            return Err(ReadRefusal::BadCoordinate { format: Format::Obj, place: Place::Line(at) });
        }
        // A closed surface has about half as many points as triangles; three times as many
        // is a heap of separate triangles. More points than that are not a surface.
        if self.vertices.len() / 3 >= self.limits.triangles {
            return Err(ReadRefusal::TooManyTriangles { limit: self.limits.triangles });
        }
        self.vertices.push(point);
        Ok(())
    }

    fn face<'w>(
        &mut self,
        words: impl Iterator<Item = &'w [u8]>,
        at: usize,
    ) -> Result<(), ReadRefusal> {
        self.face.clear();
        for word in words {
            let first = word.split(|&byte| byte == b'/').next().unwrap_or_default();
            let index: i64 = std::str::from_utf8(first)
                .ok()
                .and_then(|text| text.parse().ok())
                .ok_or_else(|| malformed(at, "a face needs the numbers of its points"))?;
            // Negative numbers count back from the last point read so far.
            let count = self.vertices.len() as i64;
            let position = if index < 0 { count.checked_add(index) } else { index.checked_sub(1) };
            match position {
                Some(position) if (0..count).contains(&position) => self.face.push(position as u32),
                _ => return Err(malformed(at, "a face refers to a point that is not there")),
            }
        }
        if self.face.len() < 3 || self.face.len() > MOST_CORNERS {
            return Err(malformed(at, "a face must have 3 to 1000 corners"));
        }
        if self.triangles.len() + self.face.len() - 2 > self.limits.triangles {
            return Err(ReadRefusal::TooManyTriangles { limit: self.limits.triangles });
        }
        self.outline.clear();
        self.outline.extend(self.face.iter().map(|&index| self.vertices[index as usize]));
        let (face, triangles) = (&self.face, &mut self.triangles);
        triangulate(&self.outline, |corners| triangles.push(corners.map(|corner| face[corner])));
        Ok(())
    }

    fn finish(self) -> Result<ModelFile, ReadRefusal> {
        if self.triangles.is_empty() {
            let other_shapes = self.other_shapes > 0 || !self.vertices.is_empty();
            return Err(ReadRefusal::NoTriangles { format: Format::Obj, other_shapes });
        }
        let notes = if self.other_shapes > 0 {
            vec![format!("{} points, lines or curves were left out.", self.other_shapes)]
        } else {
            Vec::new()
        };
        let mesh = Mesh::trusted(self.vertices, self.triangles).welded();
        Ok(ModelFile { mesh, format: Format::Obj, unit: None, names: self.names, notes })
    }
}

fn malformed(line: usize, what: &'static str) -> ReadRefusal {
    let place = if line > 0 { Place::Line(line) } else { Place::File };
    ReadRefusal::Malformed { format: Format::Obj, place, what: what.into() }
}
