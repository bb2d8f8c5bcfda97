//! Pages of the catalogues.

pub(super) mod entry;
pub(super) mod incompatible;
pub(super) mod list;

use serde_json::Value;

/// A column's value as it stands in a field.
pub(super) fn text(entry: &Value, column: &str) -> String {
    match &entry[column] {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}
