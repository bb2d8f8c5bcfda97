//! Writes a mesh as a file.

use std::fmt::Write as _;

use super::zip::store;
use super::{Mesh, Point, Unit, vec3};

/// Why a mesh could not be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum WriteRefusal {
    /// More than the format can count.
    #[error("The mesh is too large for this format; write it in another or with fewer triangles.")]
    TooLarge,
}

/// Binary STL. The header is the name, cut to 80 bytes; STL states no unit.
///
/// # Accuracy
/// Coordinates are rounded to single precision, seven digits.
///
/// # Refuses
/// More than 4294967295 triangles.
pub fn stl_binary(mesh: &Mesh, name: &str) -> Result<Vec<u8>, WriteRefusal> {
    let count = u32::try_from(mesh.triangles().len()).map_err(|_| WriteRefusal::TooLarge)?;
    let mut bytes = vec![b' '; 80];
    // A header that begins with "solid" would be taken for text by simple readers.
    let name = name.strip_prefix("solid").unwrap_or(name);
    for (slot, byte) in bytes.iter_mut().zip(name.bytes()) {
        *slot = byte;
    }
    bytes.reserve(4 + mesh.triangles().len() * 50);
    bytes.extend_from_slice(&count.to_le_bytes());
    for corners in mesh.facets() {
        for number in std::iter::once(normal(corners)).chain(corners).flatten() {
            bytes.extend_from_slice(&(number as f32).to_le_bytes());
        }
        bytes.extend_from_slice(&[0, 0]);
    }
    Ok(bytes)
}

/// STL as text, with all digits.
#[must_use]
pub fn stl_text(mesh: &Mesh, name: &str) -> Vec<u8> {
    let name = one_line(name);
    let mut text = format!("solid {name}\n");
    for corners in mesh.facets() {
        text.push_str("facet normal");
        append_point(&mut text, normal(corners));
        text.push_str("\n  outer loop\n");
        for corner in corners {
            text.push_str("    vertex");
            append_point(&mut text, corner);
            text.push('\n');
        }
        text.push_str("  endloop\nendfacet\n");
    }
    text.push_str("endsolid ");
    text.push_str(&name);
    text.push('\n');
    text.into_bytes()
}

/// OBJ, with all digits; it states no unit.
#[must_use]
pub fn obj(mesh: &Mesh, name: &str) -> Vec<u8> {
    let mut text = format!("o {}\n", one_line(name));
    for &vertex in mesh.vertices() {
        text.push('v');
        append_point(&mut text, vertex);
        text.push('\n');
    }
    for [a, b, c] in mesh.triangles().iter().map(|t| t.map(|index| u64::from(index) + 1)) {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "f {a} {b} {c}");
    }
    text.into_bytes()
}

/// How the numbers of a PLY file are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlyEncoding {
    /// As text.
    Text,
    /// As bytes, lowest first.
    LittleEndian,
    /// As bytes, highest first.
    BigEndian,
}

/// PLY in double precision; it states no unit.
///
/// # Refuses
/// Text and bytes hold any mesh; nothing is refused.
#[must_use]
pub fn ply(mesh: &Mesh, encoding: PlyEncoding) -> Vec<u8> {
    let format = match encoding {
        PlyEncoding::Text => "ascii",
        PlyEncoding::LittleEndian => "binary_little_endian",
        PlyEncoding::BigEndian => "binary_big_endian",
    };
    let mut bytes = format!(
        "ply\nformat {format} 1.0\nelement vertex {}\nproperty double x\nproperty double y\n\
         property double z\nelement face {}\nproperty list uchar uint vertex_indices\nend_header\n",
        mesh.vertices().len(),
        mesh.triangles().len()
    )
    .into_bytes();
    if encoding == PlyEncoding::Text {
        let mut text = String::new();
        for &vertex in mesh.vertices() {
            append_point(&mut text, vertex);
            text.push('\n');
        }
        for [a, b, c] in mesh.triangles() {
            let _ = writeln!(text, "3 {a} {b} {c}");
        }
        bytes.extend_from_slice(text.as_bytes());
        return bytes;
    }
    let little = encoding == PlyEncoding::LittleEndian;
    for number in mesh.vertices().iter().flatten() {
        let raw = if little { number.to_le_bytes() } else { number.to_be_bytes() };
        bytes.extend_from_slice(&raw);
    }
    for triangle in mesh.triangles() {
        bytes.push(3);
        for index in triangle {
            let raw = if little { index.to_le_bytes() } else { index.to_be_bytes() };
            bytes.extend_from_slice(&raw);
        }
    }
    bytes
}

/// 3MF with one object, its numbers in the given unit; the archive is not packed.
///
/// # Refuses
/// A mesh that needs an archive of more than 4 GiB.
pub fn three_mf(mesh: &Mesh, name: &str, unit: Unit) -> Result<Vec<u8>, WriteRefusal> {
    let unit = match unit {
        Unit::Micron => "micron",
        Unit::Millimetre => "millimeter",
        Unit::Centimetre => "centimeter",
        Unit::Inch => "inch",
        Unit::Foot => "foot",
        Unit::Metre => "meter",
    };
    let name = quick_xml::escape::escape(one_line(name)).into_owned();
    let mut model = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model unit=\"{unit}\" xml:lang=\"en-GB\" \
         xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\">\n<resources>\n\
         <object id=\"1\" type=\"model\" name=\"{name}\"><mesh>\n<vertices>\n"
    );
    for [x, y, z] in mesh.vertices() {
        let _ = writeln!(model, "<vertex x=\"{x}\" y=\"{y}\" z=\"{z}\"/>");
    }
    model.push_str("</vertices>\n<triangles>\n");
    for [a, b, c] in mesh.triangles() {
        let _ = writeln!(model, "<triangle v1=\"{a}\" v2=\"{b}\" v3=\"{c}\"/>");
    }
    model.push_str(
        "</triangles>\n</mesh></object>\n</resources>\n<build><item objectid=\"1\"/></build>\n</model>\n",
    );
    store(&[
        ("[Content_Types].xml", CONTENT_TYPES.as_bytes()),
        ("_rels/.rels", RELATIONSHIPS.as_bytes()),
        ("3D/3dmodel.model", model.as_bytes()),
    ])
    .ok_or(WriteRefusal::TooLarge)
}

const CONTENT_TYPES: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\">\
<Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/>\
<Default Extension=\"model\" ContentType=\"application/vnd.ms-package.3dmanufacturing-3dmodel+xml\"/>\
</Types>\n";

const RELATIONSHIPS: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">\
<Relationship Id=\"rel0\" Target=\"/3D/3dmodel.model\" \
Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>\n";

fn normal([a, b, c]: [Point; 3]) -> Point {
    vec3::unit(vec3::cross(vec3::sub(b, a), vec3::sub(c, a)))
}

fn append_point(text: &mut String, point: Point) {
    for coordinate in point {
        let _ = write!(text, " {coordinate}");
    }
}

/// A name that cannot break out of its line.
fn one_line(name: &str) -> String {
    name.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}
