//! The statement of one client's metal, and what is done with it.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use foundry::working::Working;
use serde::Deserialize;

use crate::clock::Day;
use crate::id::{AlloyId, ClientId};
use crate::metal::forms::{OwnForm, SettleForm};
use crate::metal::statement::{self, OfAlloy as Statement, Span};
use crate::metal::{EntryPage, MetalPage, OfClient, OwnPage, own, view};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame, Html, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "metal/client.html")]
pub(crate) struct ShowStatement {
    frame: Frame,
    id: ClientId,
    name: String,
    alloys: Vec<(AlloyId, String)>,
    statements: Vec<Statement>,
    until: Option<Day>,
    span: Form,
    receive: Form,
    give_back: Form,
    settle: Form,
}

impl ShowStatement {
    /// A mass that opens.
    fn mass(&self, cg: &i64, working: &Working) -> Html {
        working_of(&self.frame.show.centigrams(*cg), working)
    }
}

/// The three forms of the page; at most one comes back with messages.
#[derive(Default)]
struct Forms {
    receive: Form,
    give_back: Form,
    settle: Form,
}

#[derive(Default, Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    pub(super) from: String,
    #[serde(default)]
    pub(super) until: String,
}

async fn page(
    app: &App,
    signed: &Signed,
    id: ClientId,
    wanted: Wanted,
    forms: Forms,
) -> Result<ShowStatement, Fault> {
    let name = statement::name_of(&app.pool, id).await?;
    let zone = &signed.frame.show.zone;
    let mut span = Form::filled([("from", wanted.from), ("until", wanted.until)]);
    let from = span.day_or_none("from").map(|day| day.start_in(zone));
    let until = span.day_or_none("until");
    let before = until.map(|day| day.plus_days(1).start_in(zone));
    Ok(ShowStatement {
        frame: signed.frame.clone(),
        id,
        name,
        alloys: view::choices(&app.pool).await?,
        statements: statement::statement(&app.pool, id, Span { from, before }).await?,
        until,
        span,
        receive: forms.receive,
        give_back: forms.give_back,
        settle: forms.settle,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<ClientId>,
    Query(wanted): Query<Wanted>,
) -> Result<ShowStatement, Fault> {
    page(&app, &signed, id, wanted, Forms::default()).await
}

/// What is done with a client's metal.
#[derive(Clone, Copy)]
enum Doing {
    Receive,
    GiveBack,
    Settle,
}

impl Doing {
    fn forms(self, form: Form) -> Forms {
        match self {
            Self::Receive => Forms { receive: form, ..Forms::default() },
            Self::GiveBack => Forms { give_back: form, ..Forms::default() },
            Self::Settle => Forms { settle: form, ..Forms::default() },
        }
    }
}

enum Read {
    Own(OwnForm),
    Settle(SettleForm),
}

async fn submit(
    app: App,
    signed: Signed,
    id: ClientId,
    mut form: Form,
    doing: Doing,
) -> Result<Response, Fault> {
    let read = match doing {
        Doing::Settle => SettleForm::read(&mut form).map(Read::Settle),
        Doing::Receive | Doing::GiveBack => OwnForm::read(&mut form).map(Read::Own),
    };
    let Some(read) = read else {
        let page = page(&app, &signed, id, Wanted::default(), doing.forms(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            match (doing, &read) {
                (Doing::Receive, Read::Own(typed)) => {
                    own::receive(conn, &signed, id, typed).await?
                }
                (_, Read::Own(typed)) => own::give_back(conn, &signed, id, typed).await?,
                (_, Read::Settle(typed)) => own::settle(conn, &signed, id, typed).await?,
            };
            Ok(OfClient(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, Wanted::default(), doing.forms(form))).await
}

pub(crate) async fn receive(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<ClientId>,
    form: Form,
) -> Result<Response, Fault> {
    submit(app, signed, id, form, Doing::Receive).await
}

pub(crate) async fn give_back(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<ClientId>,
    form: Form,
) -> Result<Response, Fault> {
    submit(app, signed, id, form, Doing::GiveBack).await
}

pub(crate) async fn settle(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<ClientId>,
    form: Form,
) -> Result<Response, Fault> {
    submit(app, signed, id, form, Doing::Settle).await
}
