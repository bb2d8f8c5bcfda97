//! One XML part of a 3MF package: its objects, and what is to be built.

use std::borrow::Cow;
use std::collections::HashMap;

use quick_xml::events::BytesStart;

use super::malformed;
use super::xml::{Attributes, each_element, plain_values};
use crate::mesh::indexed::is_usable;
use crate::mesh::read::{Format, Limits, Place, ReadRefusal, number, tidy_name};
use crate::mesh::{Point, Unit, vec3};

/// Where an object is put: twelve numbers, row by row; points are rows multiplied from the left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Transform([[f64; 3]; 4]);

impl Transform {
    pub(super) const NONE: Self =
        Self([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.0, 0.0, 0.0]]);

    fn read(text: &str) -> Option<Self> {
        let numbers: Vec<f64> =
            text.split_ascii_whitespace().map_while(|word| number(word.as_bytes())).collect();
        let usable = numbers.len() == 12 && numbers.iter().all(|n| n.abs() <= 1.0e9);
        usable.then(|| {
            Self(std::array::from_fn(|row| std::array::from_fn(|col| numbers[row * 3 + col])))
        })
    }

    pub(super) fn apply(&self, p: Point) -> Point {
        let m = &self.0;
        std::array::from_fn(|c| p[0] * m[0][c] + p[1] * m[1][c] + p[2] * m[2][c] + m[3][c])
    }

    /// This transform first, then the other.
    pub(super) fn then(&self, outer: &Self) -> Self {
        let m = &self.0;
        let o = &outer.0;
        Self(std::array::from_fn(|row| {
            std::array::from_fn(|col| {
                let moved = if row == 3 { o[3][col] } else { 0.0 };
                m[row][0] * o[0][col] + m[row][1] * o[1][col] + m[row][2] * o[2][col] + moved
            })
        }))
    }

    pub(super) fn mirrors(&self) -> bool {
        let [x, y, z, _] = self.0;
        vec3::dot(vec3::cross(x, y), z) < 0.0
    }
}

/// A reference to an object: in which part (none: the same), its number, where it is put.
#[derive(Debug, Clone)]
pub(super) struct Reference {
    pub(super) path: Option<String>,
    pub(super) object: u32,
    pub(super) transform: Transform,
}

#[derive(Debug, Default)]
pub(super) struct Object {
    /// Supports and the like, which are no part of the piece.
    pub(super) set_aside: bool,
    pub(super) name: Option<String>,
    pub(super) vertices: Vec<Point>,
    pub(super) triangles: Vec<[u32; 3]>,
    pub(super) components: Vec<Reference>,
}

/// One XML part of the package.
#[derive(Debug, Default)]
pub(super) struct Part {
    pub(super) unit: Option<Unit>,
    pub(super) objects: HashMap<u32, Object>,
    pub(super) items: Vec<Reference>,
}

impl Part {
    pub(super) fn read(
        xml: &[u8],
        limits: &Limits,
        triangles_left: &mut usize,
    ) -> Result<Self, ReadRefusal> {
        let mut part = Self::default();
        let mut current: Option<(u32, Object)> = None;
        let mut finished = Vec::new();
        each_element(xml, |element, at| {
            let bad = |what: &'static str| malformed(Place::Byte(at), what);
            match element.local_name().as_ref() {
                b"vertex" => {
                    if let Some((_, object)) = &mut current {
                        let point = vertex(element, at)?;
                        // More points than separate triangles could use are no surface.
                        if object.vertices.len() / 3 >= limits.triangles {
                            return Err(ReadRefusal::TooManyTriangles { limit: limits.triangles });
                        }
                        object.vertices.push(point);
                    }
                    return Ok(());
                }
                b"triangle" => {
                    if let Some((_, object)) = &mut current {
                        let triangle = triangle(element, object.vertices.len())
                            .ok_or_else(|| bad("a triangle refers to a point that is not there"))?;
                        *triangles_left = triangles_left
                            .checked_sub(1)
                            .ok_or(ReadRefusal::TooManyTriangles { limit: limits.triangles })?;
                        object.triangles.push(triangle);
                    }
                    return Ok(());
                }
                _ => {}
            }
            let attributes = Attributes::of(element)?;
            match element.local_name().as_ref() {
                b"model" => {
                    part.unit =
                        Some(unit(attributes.get("unit")).ok_or_else(|| bad("unknown unit"))?);
                    refuse_unknown_extensions(element, &attributes)?;
                }
                b"object" => {
                    finished.extend(current.take());
                    let id =
                        attributes.whole("id").ok_or_else(|| bad("an object has no number"))?;
                    let kind = attributes.get("type").unwrap_or("model");
                    let object = Object {
                        set_aside: matches!(kind, "support" | "solidsupport" | "other"),
                        name: attributes.get("name").and_then(|name| tidy_name(name.as_bytes())),
                        ..Object::default()
                    };
                    current = Some((id, object));
                }
                b"component" => {
                    if let Some((_, object)) = &mut current {
                        object.components.push(reference(&attributes, at)?);
                    }
                }
                b"item" => part.items.push(reference(&attributes, at)?),
                _ => {}
            }
            Ok(())
        })?;
        finished.extend(current);
        part.objects = finished.into_iter().collect();
        Ok(part)
    }

    pub(super) fn other_paths(&self) -> impl Iterator<Item = String> + '_ {
        let components = self.objects.values().flat_map(|object| &object.components);
        components.chain(&self.items).filter_map(|reference| reference.path.clone())
    }
}

fn vertex(element: &BytesStart<'_>, at: usize) -> Result<Point, ReadRefusal> {
    let words = plain_values(element, [b"x", b"y", b"z"]);
    let point = words.map(|word| word.as_deref().map(<[u8]>::trim_ascii).and_then(number));
    let [Some(x), Some(y), Some(z)] = point else {
        return Err(malformed(Place::Byte(at), "a point needs x, y and z"));
    };
    if !is_usable([x, y, z]) {
        let place = Place::Byte(at);
        return Err(ReadRefusal::BadCoordinate { format: Format::ThreeMf, place });
    }
    Ok([x, y, z])
}

/// Three numbers of points, each below the number of points there are.
fn triangle(element: &BytesStart<'_>, points: usize) -> Option<[u32; 3]> {
    let words = plain_values(element, [b"v1", b"v2", b"v3"]);
    let index = |word: Option<Cow<'_, [u8]>>| {
        let index: u32 = std::str::from_utf8(word?.trim_ascii()).ok()?.parse().ok()?;
        ((index as usize) < points).then_some(index)
    };
    let [a, b, c] = words.map(index);
    Some([a?, b?, c?])
}

fn unit(name: Option<&str>) -> Option<Unit> {
    // The specification's own default.
    name.map_or(Some(Unit::Millimetre), Unit::from_name)
}

fn reference(attributes: &Attributes, at: usize) -> Result<Reference, ReadRefusal> {
    let object = attributes
        .whole("objectid")
        .ok_or_else(|| malformed(Place::Byte(at), "a reference names no object"))?;
    let transform = match attributes.get("transform") {
        None => Transform::NONE,
        Some(text) => Transform::read(text)
            .ok_or_else(|| malformed(Place::Byte(at), "a transform needs twelve usable numbers"))?,
    };
    let path = attributes.get("path").map(|path| format!("/{}", path.trim_start_matches('/')));
    Ok(Reference { path, object, transform })
}

/// A file may require extensions that change its shape; those that only colour it do not matter.
fn refuse_unknown_extensions(
    element: &BytesStart<'_>,
    attributes: &Attributes,
) -> Result<(), ReadRefusal> {
    let required = attributes.get("requiredextensions").unwrap_or_default();
    for prefix in required.split_ascii_whitespace() {
        let declared = element.attributes().with_checks(false).flatten().find(|attribute| {
            attribute.key.as_ref().strip_prefix(b"xmlns:") == Some(prefix.as_bytes())
        });
        let space = declared
            .map(|attribute| String::from_utf8_lossy(&attribute.value).into_owned())
            .unwrap_or_default();
        if !["/production/", "/material/"].iter().any(|known| space.contains(known)) {
            return Err(ReadRefusal::Unsupported {
                format: Format::ThreeMf,
                what: format!("the extension \"{prefix}\" (lattices, slices or the like)").into(),
                instead: "Export it as a plain mesh.",
            });
        }
    }
    Ok(())
}
