//! 3MF: objects and where they are built, as XML in a ZIP archive.

use std::collections::HashMap;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::indexed::is_usable;
use super::read::{Format, Limits, ModelFile, Place, ReadRefusal, number, tidy_name};
use super::zip::Archive;
use super::{Mesh, Point, Unit};

/// How deep objects may be nested in each other.
const DEEPEST: usize = 32;

/// Reads what the file asks to be built: every item, with its components put in place.
pub(super) fn read(bytes: &[u8], limits: &Limits) -> Result<ModelFile, ReadRefusal> {
    let mut archive = Archive::open(bytes, limits)?;
    let root = root_part(&mut archive)?;
    let mut parts = HashMap::new();
    let mut waiting = vec![root.clone()];
    // Triangles may be spread over parts, so the limit is for all together.
    let mut triangles_left = limits.triangles;
    while let Some(path) = waiting.pop() {
        if parts.contains_key(&path) {
            continue;
        }
        let Some(xml) = archive.unpack(path.trim_start_matches('/'))? else {
            return Err(malformed(Place::File, format!("the part \"{path}\" is missing")));
        };
        let part = Part::read(&xml, limits, &mut triangles_left)?;
        waiting.extend(part.other_paths());
        parts.insert(path, part);
    }
    Assembly::new(&parts, limits).build(&root)
}

/// The part that holds the model, as the package's relationships say.
fn root_part(archive: &mut Archive<'_>) -> Result<String, ReadRefusal> {
    if let Some(xml) = archive.unpack("_rels/.rels")? {
        let mut target = None;
        each_element(&xml, |element, _| {
            let attributes = Attributes::of(element)?;
            if element.local_name().as_ref() == b"Relationship"
                && attributes.get("Type").is_some_and(|kind| kind.ends_with("/3dmodel"))
            {
                target = attributes.get("Target").map(str::to_owned);
            }
            Ok(())
        })?;
        if let Some(target) = target {
            return Ok(format!("/{}", target.trim_start_matches('/')));
        }
    }
    let only = archive.names().find(|name| name.to_ascii_lowercase().ends_with(".model"));
    only.map(|name| format!("/{name}")).ok_or(ReadRefusal::NotAMesh {
        what: "a ZIP archive without a 3MF model (unpack it first if it holds models)",
    })
}

/// Where an object is put: twelve numbers, row by row; points are rows multiplied from the left.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Transform([[f64; 3]; 4]);

impl Transform {
    const NONE: Self = Self([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.0, 0.0, 0.0]]);

    fn read(text: &str) -> Option<Self> {
        let numbers: Vec<f64> =
            text.split_ascii_whitespace().map_while(|word| number(word.as_bytes())).collect();
        let usable = numbers.len() == 12 && numbers.iter().all(|n| n.abs() <= 1.0e9);
        usable.then(|| {
            Self(std::array::from_fn(|row| std::array::from_fn(|col| numbers[row * 3 + col])))
        })
    }

    fn apply(&self, p: Point) -> Point {
        let m = &self.0;
        std::array::from_fn(|c| p[0] * m[0][c] + p[1] * m[1][c] + p[2] * m[2][c] + m[3][c])
    }

    /// This transform first, then the other.
    fn then(&self, outer: &Self) -> Self {
        let m = &self.0;
        let o = &outer.0;
        Self(std::array::from_fn(|row| {
            std::array::from_fn(|col| {
                let moved = if row == 3 { o[3][col] } else { 0.0 };
                m[row][0] * o[0][col] + m[row][1] * o[1][col] + m[row][2] * o[2][col] + moved
            })
        }))
    }

    fn mirrors(&self) -> bool {
        let [x, y, z, _] = self.0;
        super::vec3::dot(super::vec3::cross(x, y), z) < 0.0
    }
}

/// A reference to an object: in which part (none: the same), its number, where it is put.
#[derive(Debug, Clone)]
struct Reference {
    path: Option<String>,
    object: u32,
    transform: Transform,
}

#[derive(Debug, Default)]
struct Object {
    /// Supports and the like, which are no part of the piece.
    set_aside: bool,
    name: Option<String>,
    vertices: Vec<Point>,
    triangles: Vec<[u32; 3]>,
    components: Vec<Reference>,
}

/// One XML part of the package.
#[derive(Debug, Default)]
struct Part {
    unit: Option<Unit>,
    objects: HashMap<u32, Object>,
    items: Vec<Reference>,
}

impl Part {
    fn read(xml: &[u8], limits: &Limits, triangles_left: &mut usize) -> Result<Self, ReadRefusal> {
        let mut part = Self::default();
        let mut current: Option<(u32, Object)> = None;
        let mut finished = Vec::new();
        each_element(xml, |element, at| {
            let bad = |what: &'static str| malformed(Place::Byte(at), what);
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
                b"vertex" => {
                    if let Some((_, object)) = &mut current {
                        let axis = |name| attributes.get(name).and_then(|t| number(t.as_bytes()));
                        let (Some(x), Some(y), Some(z)) = (axis("x"), axis("y"), axis("z")) else {
                            return Err(bad("a point needs x, y and z"));
                        };
                        if !is_usable([x, y, z]) {
                            let place = Place::Byte(at);
                            return Err(ReadRefusal::BadCoordinate {
                                format: Format::ThreeMf,
                                place,
                            });
                        }
                        object.vertices.push([x, y, z]);
                    }
                }
                b"triangle" => {
                    if let Some((_, object)) = &mut current {
                        let corner = |name| {
                            attributes
                                .whole(name)
                                .filter(|&index| (index as usize) < object.vertices.len())
                        };
                        let (Some(a), Some(b), Some(c)) =
                            (corner("v1"), corner("v2"), corner("v3"))
                        else {
                            return Err(bad("a triangle refers to a point that is not there"));
                        };
                        *triangles_left = triangles_left
                            .checked_sub(1)
                            .ok_or(ReadRefusal::TooManyTriangles { limit: limits.triangles })?;
                        object.triangles.push([a, b, c]);
                    }
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

    fn other_paths(&self) -> impl Iterator<Item = String> + '_ {
        let components = self.objects.values().flat_map(|object| &object.components);
        components.chain(&self.items).filter_map(|reference| reference.path.clone())
    }
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

/// Puts the objects together as the build asks.
struct Assembly<'a> {
    parts: &'a HashMap<String, Part>,
    limits: &'a Limits,
    vertices: Vec<Point>,
    triangles: Vec<[u32; 3]>,
    names: Vec<String>,
    set_aside: usize,
    visited: usize,
}

impl<'a> Assembly<'a> {
    fn new(parts: &'a HashMap<String, Part>, limits: &'a Limits) -> Self {
        Self {
            parts,
            limits,
            vertices: Vec::new(),
            triangles: Vec::new(),
            names: Vec::new(),
            set_aside: 0,
            visited: 0,
        }
    }

    fn build(mut self, root: &str) -> Result<ModelFile, ReadRefusal> {
        let Some(part) = self.parts.get(root) else {
            return Err(malformed(Place::File, "the model is missing"));
        };
        for item in &part.items {
            self.place(root, item, &Transform::NONE, 0)?;
        }
        if self.triangles.is_empty() {
            return Err(ReadRefusal::NoTriangles { format: Format::ThreeMf, other_shapes: false });
        }
        let mut notes = Vec::new();
        if self.set_aside > 0 {
            notes.push(format!("{} support objects were left out.", self.set_aside));
        }
        let mesh = Mesh::trusted(self.vertices, self.triangles).welded();
        let unit = part.unit;
        Ok(ModelFile { mesh, format: Format::ThreeMf, unit, names: self.names, notes })
    }

    fn place(
        &mut self,
        path: &str,
        reference: &Reference,
        outer: &Transform,
        depth: usize,
    ) -> Result<(), ReadRefusal> {
        // Objects that hold each other twice, again and again, grow without end.
        self.visited += 1;
        if depth > DEEPEST || self.visited > 100_000 {
            return Err(malformed(Place::File, "objects are nested too deep or in a circle"));
        }
        let path = reference.path.as_deref().unwrap_or(path);
        let object = self.parts.get(path).and_then(|part| part.objects.get(&reference.object));
        let Some(object) = object else {
            let what = format!("object {} is used but not there", reference.object);
            return Err(malformed(Place::File, what));
        };
        if object.set_aside {
            self.set_aside += 1;
            return Ok(());
        }
        if let Some(name) = &object.name
            && self.names.len() < 1000
        {
            self.names.push(name.clone());
        }
        let transform = reference.transform.then(outer);
        if self.triangles.len() + object.triangles.len() > self.limits.triangles {
            return Err(ReadRefusal::TooManyTriangles { limit: self.limits.triangles });
        }
        let shift = self.vertices.len();
        if u32::try_from(shift + object.vertices.len()).is_err() {
            return Err(ReadRefusal::TooManyTriangles { limit: self.limits.triangles });
        }
        for &vertex in &object.vertices {
            let point = transform.apply(vertex);
            if !is_usable(point) {
                let place = Place::File;
                return Err(ReadRefusal::BadCoordinate { format: Format::ThreeMf, place });
            }
            self.vertices.push(point);
        }
        let mirrors = transform.mirrors();
        self.triangles.extend(object.triangles.iter().map(|&[a, b, c]| {
            let triangle = if mirrors { [a, c, b] } else { [a, b, c] };
            triangle.map(|index| index + shift as u32)
        }));
        for component in &object.components {
            self.place(path, component, &transform, depth + 1)?;
        }
        Ok(())
    }
}

/// Calls a function for every opening tag with the byte it stands at.
fn each_element(
    xml: &[u8],
    mut each: impl FnMut(&BytesStart<'_>, usize) -> Result<(), ReadRefusal>,
) -> Result<(), ReadRefusal> {
    let mut reader = Reader::from_reader(xml);
    loop {
        let at = usize::try_from(reader.buffer_position()).unwrap_or(usize::MAX);
        match reader.read_event() {
            Ok(Event::Start(element) | Event::Empty(element)) => each(&element, at)?,
            Ok(Event::Eof) => return Ok(()),
            Ok(_) => {}
            Err(error) => return Err(malformed(Place::Byte(at), format!("broken XML ({error})"))),
        }
    }
}

/// The attributes of a tag by their local names.
struct Attributes(Vec<(String, String)>);

impl Attributes {
    fn of(element: &BytesStart<'_>) -> Result<Self, ReadRefusal> {
        let mut all = Vec::new();
        for attribute in element.attributes().with_checks(false) {
            let attribute = attribute
                .map_err(|error| malformed(Place::File, format!("broken XML ({error})")))?;
            let name = String::from_utf8_lossy(attribute.key.local_name().as_ref()).into_owned();
            let value = attribute
                .normalized_value(quick_xml::XmlVersion::Implicit1_0)
                .map_err(|error| malformed(Place::File, format!("broken XML ({error})")))?;
            all.push((name, value.into_owned()));
        }
        Ok(Self(all))
    }

    fn get(&self, name: &str) -> Option<&str> {
        self.0.iter().find(|(key, _)| key == name).map(|(_, value)| value.as_str())
    }

    fn whole(&self, name: &str) -> Option<u32> {
        self.get(name)?.trim().parse().ok()
    }
}

fn malformed(place: Place, what: impl Into<std::borrow::Cow<'static, str>>) -> ReadRefusal {
    ReadRefusal::Malformed { format: Format::ThreeMf, place, what: what.into() }
}
