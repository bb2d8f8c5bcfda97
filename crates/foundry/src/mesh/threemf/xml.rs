//! The little of XML that 3MF needs.

use std::borrow::Cow;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::malformed;
use crate::mesh::read::{Place, ReadRefusal};

/// Calls a function for every opening tag with the byte it stands at.
pub(super) fn each_element(
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
pub(super) struct Attributes(Vec<(String, String)>);

impl Attributes {
    pub(super) fn of(element: &BytesStart<'_>) -> Result<Self, ReadRefusal> {
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

    pub(super) fn get(&self, name: &str) -> Option<&str> {
        self.0.iter().find(|(key, _)| key == name).map(|(_, value)| value.as_str())
    }

    pub(super) fn whole(&self, name: &str) -> Option<u32> {
        self.get(name)?.trim().parse().ok()
    }
}

/// Some attributes of a tag as they stand, for numbers, which need no unescaping.
pub(super) fn plain_values<'e, const N: usize>(
    element: &'e BytesStart<'_>,
    names: [&[u8]; N],
) -> [Option<Cow<'e, [u8]>>; N] {
    let mut values = [const { None }; N];
    for attribute in element.attributes().with_checks(false).flatten() {
        let wanted = names.iter().position(|name| attribute.key.as_ref() == *name);
        if let Some(at) = wanted {
            values[at] = Some(attribute.value);
        }
    }
    values
}
