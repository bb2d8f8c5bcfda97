//! A catalogue's entries.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use serde_json::Value;

use super::text;
use crate::catalogue::entry::{Catalogue, Column, Field};
use crate::catalogue::store;
use crate::people::Owner;
use crate::web::{App, Fault, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "catalogue/list.html")]
pub(crate) struct List {
    frame: Frame,
    catalogue: &'static Catalogue,
    entries: Vec<Value>,
    usual: Vec<(String, String)>,
}

impl List {
    fn columns(&self) -> impl Iterator<Item = &'static Column> {
        self.catalogue.columns.iter().filter(|column| column.listed)
    }

    fn cell(&self, entry: &Value, column: &Column) -> String {
        let shown = text(entry, column.name);
        match column.field {
            Field::Choice(options) => options
                .iter()
                .find(|(value, _)| *value == shown)
                .map_or(shown, |(_, words)| (*words).to_owned()),
            _ if shown.is_empty() => shown,
            _ if column.unit.is_empty() => shown,
            _ => format!("{shown}\u{202f}{}", column.unit),
        }
    }

    fn name(&self, entry: &Value) -> String {
        text(entry, "name")
    }

    fn id(&self, entry: &Value) -> String {
        text(entry, "id")
    }

    fn place(&self, entry: &Value) -> String {
        format!("{}/{}", self.catalogue.path(), text(entry, "id"))
    }
}

pub(crate) async fn show(
    catalogue: &'static Catalogue,
    State(app): State<App>,
    Owner(signed): Owner,
) -> Result<List, Fault> {
    let entries = store::list(&app.pool, catalogue).await?;
    let usual = if catalogue.table == "alloys" {
        foundry::metal::alloys()
            .iter()
            .map(|alloy| (alloy.key.to_string(), alloy.name.to_string()))
            .collect()
    } else {
        Vec::new()
    };
    Ok(List { frame: signed.frame, catalogue, entries, usual })
}
