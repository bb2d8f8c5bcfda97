//! One entry of a catalogue: new, changed, retired.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use rust_decimal::Decimal;
use serde::Deserialize;
use serde_json::json;
use sqlx::PgConnection;
use uuid::Uuid;

use super::text;
use crate::audit;
use crate::catalogue::entry::{Catalogue, Field, Value};
use crate::catalogue::store;
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame, Html};

#[derive(Template, WebTemplate)]
#[template(path = "catalogue/entry.html")]
pub(crate) struct Entry {
    frame: Frame,
    form: Form,
    catalogue: &'static Catalogue,
    id: Option<Uuid>,
}

impl Entry {
    fn action(&self) -> String {
        match self.id {
            Some(id) => format!("{}/{id}", self.catalogue.path()),
            None => self.catalogue.path(),
        }
    }

    fn is(&self, table: &str) -> bool {
        self.catalogue.table == table
    }

    fn inputs(&self) -> Vec<Html> {
        self.catalogue
            .columns
            .iter()
            .map(|column| {
                let input =
                    self.form.input(column.name, column.label).hint(column.hint).unit(column.unit);
                match column.field {
                    Field::Text { needed: true } => input.required(),
                    Field::Text { needed: false } => input.kind("area"),
                    Field::Real(..) | Field::Money => input.kind("decimal").required(),
                    Field::MaybeReal(..) => input.kind("decimal"),
                    Field::Whole(..) => input.kind("number").required(),
                    Field::Choice(options) => input.options(options),
                }
                .html()
            })
            .collect()
    }
}

#[derive(Deserialize)]
pub(crate) struct From {
    #[serde(default)]
    from: String,
}

/// A form for a new entry; an alloy may start from one of the usual ones.
pub(crate) async fn new(
    catalogue: &'static Catalogue,
    State(_): State<App>,
    Owner(signed): Owner,
    Query(From { from }): Query<From>,
) -> Result<Entry, Fault> {
    let mut form = Form::default();
    if let Some(alloy) = foundry::metal::alloy_by_key(&from).filter(|_| catalogue.table == "alloys")
    {
        fill_alloy(&mut form, alloy);
    }
    for column in catalogue.columns {
        if form.value(column.name).is_empty() {
            form.put(column.name, column.start);
        }
    }
    Ok(Entry { frame: signed.frame, form, catalogue, id: None })
}

fn fill_alloy(form: &mut Form, alloy: &foundry::metal::Alloy) {
    use foundry::metal::Family;
    let family = match alloy.family {
        Family::Silver => "silver",
        Family::Gold => "gold",
        Family::Platinum => "platinum",
        Family::Palladium => "palladium",
        Family::SiliconBronze | Family::TinBronze | Family::Brass => "copper",
        Family::Other => "other",
    };
    form.put("name", &alloy.name);
    form.put("family", family);
    form.put("composition", &alloy.composition.value.to_string());
    let mut sources = Vec::new();
    if let Some(density) = &alloy.density {
        form.put("density_g_cm3", &density.value.get().to_string());
        sources.push(format!("density: {}", density.source));
    }
    for (name, known) in [("solidus_c", &alloy.solidus), ("liquidus_c", &alloy.liquidus)] {
        if let Some(known) = known {
            form.put(name, &known.value.get().to_string());
        }
    }
    for (name, words, known) in
        [("melt_c", "poured at", &alloy.casting), ("flask_c", "flask", &alloy.flask)]
    {
        if let Some(known) = known {
            let middle = (known.value.from.get() + known.value.to.get()) / 2.0;
            form.put(name, &middle.round().to_string());
            sources.push(format!(
                "{words}: middle of {} to {} °C, {}",
                known.value.from.get(),
                known.value.to.get(),
                known.source
            ));
        }
    }
    if let Some(known) = &alloy.contraction {
        let middle = (known.value.least.get() + known.value.greatest.get()) / 2.0;
        form.put("shrinkage", &format!("{:.4}", middle));
        sources.push(format!("contraction: {}", known.source));
    }
    let mut text = sources.join("; ");
    if text.chars().count() > 400 {
        text = text.chars().take(399).chain(['…']).collect();
    }
    form.put("source", &text);
}

pub(crate) async fn show(
    catalogue: &'static Catalogue,
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<Uuid>,
) -> Result<Entry, Fault> {
    let entry = store::load(&app.pool, catalogue, id).await?;
    let mut form = Form::default();
    for column in catalogue.columns {
        form.put(column.name, &text(&entry, column.name));
    }
    if catalogue.table == "alloys" {
        let parts = store::composition(&app.pool, id).await?;
        let words: Vec<String> =
            parts.iter().map(|(metal, share)| format!("{metal} {}", share.normalize())).collect();
        form.put("composition", &words.join(" "));
    }
    Ok(Entry { frame: signed.frame, form, catalogue, id: Some(id) })
}

type Parts = Vec<(String, Decimal)>;

/// Reads an alloy's composition, such as `Ag 925 Cu 75`; empty is unknown.
fn composition(form: &mut Form) -> Parts {
    let typed = form.text("composition", 300).replace([',', ';', '\n'], " ");
    let words: Vec<&str> = typed.split_whitespace().collect();
    let mut parts = Parts::new();
    for pair in words.chunks(2) {
        let share = pair.get(1).and_then(|share| share.parse::<Decimal>().ok());
        match share.filter(|_| foundry::metal::Element::by_symbol(pair[0]).is_some()) {
            Some(share) if share > Decimal::ZERO => parts.push((pair[0].to_owned(), share)),
            _ => {
                form.wrong(
                    "composition",
                    "Write symbols and parts per thousand in turn, such as Ag 925 Cu 75.",
                );
                return Parts::new();
            }
        }
    }
    let sum: Decimal = parts.iter().map(|(_, share)| share).sum();
    if !parts.is_empty() && sum != Decimal::ONE_THOUSAND {
        form.wrong("composition", format!("These are {sum} parts; a thousand are needed."));
    }
    parts
}

fn read(catalogue: &Catalogue, form: &mut Form) -> Option<(Vec<Value>, Parts)> {
    let values: Vec<Option<Value>> =
        catalogue.columns.iter().map(|column| column.read(form)).collect();
    let parts = if catalogue.table == "alloys" { composition(form) } else { Parts::new() };
    if !form.good() {
        return None;
    }
    Some((values.into_iter().collect::<Option<_>>()?, parts))
}

pub(crate) async fn add(
    catalogue: &'static Catalogue,
    State(app): State<App>,
    Owner(signed): Owner,
    form: Form,
) -> Result<Response, Fault> {
    save(catalogue, &app, &signed, None, form).await
}

pub(crate) async fn change(
    catalogue: &'static Catalogue,
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<Uuid>,
    form: Form,
) -> Result<Response, Fault> {
    save(catalogue, &app, &signed, Some(id), form).await
}

async fn save(
    catalogue: &'static Catalogue,
    app: &App,
    signed: &Signed,
    id: Option<Uuid>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some((values, parts)) = read(catalogue, &mut form) else {
        let page = Entry { frame: signed.frame.clone(), form, catalogue, id };
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            write(conn, catalogue, signed, id, &values, &parts)
                .await
                .map_err(|error| Fault::from(error).at("name"))?;
            Ok(catalogue.path())
        })
        .await?;
    ended.or_show(async { Ok(Entry { frame: signed.frame.clone(), form, catalogue, id }) }).await
}

async fn write(
    conn: &mut PgConnection,
    catalogue: &Catalogue,
    signed: &Signed,
    id: Option<Uuid>,
    values: &[Value],
    parts: &Parts,
) -> Result<(), sqlx::Error> {
    let (id, action) = match id {
        Some(id) => {
            store::update(conn, catalogue, id, values).await?;
            (id, "changed")
        }
        None => {
            let id = Uuid::now_v7();
            store::insert(conn, catalogue, id, values).await?;
            (id, "added")
        }
    };
    if catalogue.table == "alloys" {
        store::set_composition(conn, id, parts).await?;
    }
    let subject = format!("{}:{id}", catalogue.table);
    audit::note(conn, signed.now, Some(signed.person), action, &subject, json!({})).await
}

pub(crate) async fn retire(
    catalogue: &'static Catalogue,
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<Uuid>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        store::retire(conn, catalogue, id, signed.now).await?;
        Ok(catalogue.path())
    })
    .await?
    .led()
}
