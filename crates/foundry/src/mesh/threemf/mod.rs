//! 3MF: objects and where they are built, as XML in a ZIP archive.

mod part;
mod xml;

use std::collections::HashMap;

use super::indexed::is_usable;
use super::read::{Format, Limits, ModelFile, Place, ReadRefusal};
use super::zip::Archive;
use super::{Mesh, Point};
use part::{Part, Reference, Transform};
use xml::{Attributes, each_element};

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

fn malformed(place: Place, what: impl Into<std::borrow::Cow<'static, str>>) -> ReadRefusal {
    ReadRefusal::Malformed { format: Format::ThreeMf, place, what: what.into() }
}
