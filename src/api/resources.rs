//! What can be read through the interface: the data sets of the exports that have a key.

use crate::exports::{Dataset, datasets};

/// How a key is compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum KeyKind {
    Number,
    Uuid,
    Label,
}

/// Something that can be listed and read one by one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Resource {
    /// Its word in addresses; that of the data set.
    pub(super) name: &'static str,
    /// What one of them is called.
    pub(super) single: &'static str,
    /// The column by which one is found and pages go on.
    pub(super) key: &'static str,
    pub(super) kind: KeyKind,
    /// Columns by whose value a list can be narrowed.
    pub(super) filters: &'static [&'static str],
}

const fn resource(
    name: &'static str,
    single: &'static str,
    key: &'static str,
    kind: KeyKind,
    filters: &'static [&'static str],
) -> Resource {
    Resource { name, single, key, kind, filters }
}

/// All of them.
pub(super) const RESOURCES: [Resource; 9] = [
    resource("clients", "client", "id", KeyKind::Uuid, &["email"]),
    resource("designs", "design", "number", KeyKind::Number, &["client_id"]),
    resource("orders", "order", "number", KeyKind::Number, &["state", "client_id"]),
    resource("pieces", "piece", "label", KeyKind::Label, &["order_number", "stage", "standing"]),
    resource("piece_events", "event", "id", KeyKind::Number, &["piece", "kind"]),
    resource("flasks", "flask", "number", KeyKind::Number, &["state"]),
    resource("kiln_loads", "load", "number", KeyKind::Number, &["state"]),
    resource("invoices", "invoice", "id", KeyKind::Uuid, &["state", "client_id", "order_number"]),
    resource("client_entries", "entry", "id", KeyKind::Uuid, &["client_id", "kind"]),
];

impl Resource {
    pub(super) fn named(name: &str) -> Option<&'static Self> {
        RESOURCES.iter().find(|resource| resource.name == name)
    }

    /// The data set that it shows.
    pub(super) fn dataset(&self) -> Option<&'static Dataset> {
        datasets().find(|dataset| dataset.name == self.name)
    }

    /// The scope that a token needs to read it.
    pub(super) fn scope(&self) -> String {
        format!("{}:read", self.name)
    }
}

/// Scopes that let a token change something, with what they allow.
pub(super) const WRITING: [(&str, &str); 2] =
    [("clients:write", "add clients"), ("payments:write", "note payments of clients")];

/// Every scope with what it allows.
pub(super) fn scopes() -> Vec<(String, String)> {
    let reading = RESOURCES.iter().map(|resource| {
        let title = resource.dataset().map_or(resource.name, |dataset| dataset.title);
        (resource.scope(), format!("read {}", title.to_lowercase()))
    });
    let writing = WRITING.iter().map(|(scope, allows)| ((*scope).to_owned(), (*allows).to_owned()));
    reading.chain(writing).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_resource_has_its_data_set_its_key_and_its_filters() {
        for resource in RESOURCES {
            let dataset = resource.dataset().map(|dataset| dataset.columns).unwrap_or_default();
            let has = |name: &str| dataset.iter().any(|column| column.name == name);
            assert!(has(resource.key), "{}", resource.name);
            assert!(resource.filters.iter().all(|filter| has(filter)), "{}", resource.name);
        }
    }
}
