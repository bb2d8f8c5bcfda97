//! A stock take of everything that can be put on a scale: a sheet to print, and to post.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::confirm::{Weighed, asks};
use crate::metal::forms::StockTake;
use crate::metal::model::Account;
use crate::metal::paths::CountPage;
use crate::metal::stock::{self, Countable};
use crate::metal::{EntriesPage, MetalPage, actions};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame, Html};

#[derive(Template, WebTemplate)]
#[template(path = "metal/count.html")]
pub(crate) struct ShowCount {
    frame: Frame,
    rows: Vec<Countable>,
    form: Form,
}

impl ShowCount {
    /// What an account is called, with the client whose drawer it is.
    fn words(&self, row: &Countable) -> String {
        words(row)
    }

    /// The field for what the scale shows, with what the ledger said when the page was made.
    fn field(&self, row: &Countable) -> Html {
        let (name, seen) = (row.field(), format!("seen_{}", row.field()));
        let label = format!("{}, {}", row.alloy, self.words(row));
        let field = self.form.input(&name, &label).kind("decimal").unit("g").html();
        Html::trusted(format!(
            "<div class=\"bare\">{field}<input type=\"hidden\" name=\"{seen}\" value=\"{}\"></div>",
            row.cg
        ))
    }
}

fn words(row: &Countable) -> String {
    match &row.client {
        Some(client) => format!("drawer of {client}"),
        None => Account::words(row.account.kind()).to_owned(),
    }
}

/// What was weighed beside what the ledger says now; what has moved meanwhile is refused anyway.
fn weighed(take: &StockTake, rows: &[Countable]) -> Vec<Weighed> {
    let mut weighed = Vec::new();
    for (alloy, counted) in &take.counted {
        for each in counted {
            let row = rows.iter().find(|row| row.alloy_id == *alloy && row.account == each.account);
            if let Some(row) = row.filter(|row| row.cg == each.seen_cg) {
                weighed.push(Weighed {
                    alloy_id: *alloy,
                    alloy: row.alloy.clone(),
                    place: words(row),
                    ledger_cg: row.cg,
                    counted_cg: each.counted_cg,
                });
            }
        }
    }
    weighed
}

async fn page(app: &App, signed: &Signed, form: Form) -> Result<ShowCount, Fault> {
    let rows = stock::countable(&app.pool).await?;
    Ok(ShowCount { frame: signed.frame.clone(), rows, form })
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<ShowCount, Fault> {
    page(&app, &signed, Form::default()).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let rows = stock::countable(&app.pool).await?;
    let Some(take) = StockTake::read(&mut form, &rows) else {
        let page = page(&app, &signed, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    if form.ticked("again") {
        return Ok(page(&app, &signed, form).await?.into_response());
    }
    if let Some(ask) =
        asks(&app, &signed, &form, CountPage.to_string(), weighed(&take, &rows)).await?
    {
        return Ok(ask.into_response());
    }
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::count_all(conn, &signed, &take).await?;
            Ok(format!("{EntriesPage}?kind=counted"))
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}
