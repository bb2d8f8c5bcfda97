//! A new order: for whom, what, and the models dropped right here.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Multipart, Query, State};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::clients;
use crate::designs::{self, Intake, refused_files};
use crate::orders::forms::{LineForm, OrderForm, for_whom};
use crate::orders::view::{self, DesignChoice};
use crate::orders::{NewOrder, Order, Orders, actions};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "orders/new.html")]
pub(crate) struct NewOrderPage {
    frame: Frame,
    form: Form,
    clients: Vec<(String, String)>,
    alloys: Vec<(String, String)>,
    design: Option<DesignChoice>,
    kept: Vec<(String, String)>,
    megabytes: usize,
    /// What finishing usually took, and of how many pieces.
    usual: Option<(i32, i64)>,
}

/// Where the minutes of finishing that stand in a form come from.
pub(super) fn usual_words(usual: Option<(i32, i64)>) -> String {
    usual.map_or_else(String::new, |(minutes, pieces)| {
        format!("{minutes} min is the middle of what your last {pieces} pieces took.")
    })
}

impl NewOrderPage {
    fn usual_words(&self) -> String {
        usual_words(self.usual)
    }
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    client: Option<String>,
    design: Option<i32>,
}

/// The alloys to choose from.
pub(super) async fn alloy_choices(app: &App) -> Result<Vec<(String, String)>, Fault> {
    let alloys = designs::alloys(&app.pool).await?;
    Ok(alloys.into_iter().map(|alloy| (alloy.id.to_string(), alloy.name)).collect())
}

/// Where there is one alloy only, it is the one.
pub(super) fn with_the_only(mut form: Form, alloys: &[(String, String)]) -> Form {
    if let ([(only, _)], "") = (alloys, form.value("alloy")) {
        form.set("alloy", only);
    }
    form
}

async fn page(app: &App, signed: &Signed, intake: Intake) -> Result<NewOrderPage, Fault> {
    let mut clients = vec![(String::new(), "A new client, named below".to_owned())];
    let known = clients::choices(&app.pool).await?;
    clients.extend(known.into_iter().map(|(id, name)| (id.to_string(), name)));
    let design = match intake.form.value("design").parse() {
        Ok(number) => view::design(&app.pool, number).await?,
        Err(_) => None,
    };
    let alloys = alloy_choices(app).await?;
    Ok(NewOrderPage {
        frame: signed.frame.clone(),
        kept: intake.taken.iter().map(|file| (file.name().to_owned(), file.kept())).collect(),
        form: with_the_only(intake.form, &alloys),
        clients,
        alloys,
        design,
        usual: view::usual_finishing(&app.pool).await?,
        megabytes: app.largest_model >> 20,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<NewOrderPage, Fault> {
    let design = match wanted.design {
        Some(number) => view::design(&app.pool, number).await?,
        None => None,
    };
    let learned = design.and_then(|design| design.finishing_minutes);
    let usual = view::usual_finishing(&app.pool).await?.map(|(minutes, _)| minutes);
    let minutes = learned.or(usual).unwrap_or(0);
    let client = wanted.client.as_deref().and_then(|id| id.parse().ok());
    let alloy = match client {
        Some(client) => view::usual_alloy(&app.pool, client, None).await?,
        None => None,
    };
    let form = Form::filled([
        ("client", wanted.client.unwrap_or_default()),
        ("design", wanted.design.map(|number| number.to_string()).unwrap_or_default()),
        ("alloy", alloy.map(|id| id.to_string()).unwrap_or_default()),
        ("quantity", "1".to_owned()),
        ("finishing_minutes", minutes.to_string()),
    ]);
    page(&app, &signed, Intake::of(form)).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    parts: Multipart,
) -> Result<Response, Fault> {
    let mut intake = Intake::receive(&app, signed.now, parts).await?;
    let today = signed.now.day_in(&signed.frame.show.zone);
    let whom = for_whom(&mut intake.form);
    let order = OrderForm::read(&mut intake.form, today, None);
    let design = match intake.form.value("design").parse() {
        Ok(number) => view::design(&app.pool, number).await?,
        Err(_) => None,
    };
    let kept = intake.taken.len();
    let line = if kept > 0 || design.is_some() {
        LineForm::read(&mut intake.form, 0)
    } else {
        LineForm::look_at_numbers(&mut intake.form);
        None
    };
    if intake.note_refusals("models") {
        intake.form.wrong("", refused_files(kept));
    }
    let (Some(whom), Some(order), true) = (whom, order, intake.form.good()) else {
        let status = intake.status();
        return Ok((status, page(&app, &signed, intake).await?).into_response());
    };
    let to_price = intake.form.ticked("then_price") && signed.frame.owner();
    intake
        .form
        .act_once(&app.pool, signed.now, async |conn| {
            let (id, number, client) = actions::open(conn, &signed, &whom, &order).await?;
            if let Some(line) = line {
                if let Some(design) = design {
                    actions::add_first_line(conn, id, design.version, &line).await?;
                }
                actions::add_files(conn, &signed, id, client, &intake.taken, &line).await?;
            }
            let place = Order(number);
            Ok(if to_price { format!("{place}/price") } else { place.to_string() })
        })
        .await?
        .led()
}
