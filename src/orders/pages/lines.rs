//! Adding, changing and removing the lines of an order.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::show::{Forms, page};
use crate::orders::forms::LineForm;
use crate::orders::{Order, actions, view};
use crate::people::Signed;
use crate::web::{App, Fault, Form};

/// What is to be done to the lines.
enum Deed {
    Add { design: i32, line: LineForm },
    Change { n: i32, version_n: Option<i32>, line: LineForm },
    Remove { n: i32 },
}

pub(crate) async fn add(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let design = form.choice("design");
    let known = match design {
        Some(number) => view::design(&app.pool, number).await?,
        None => None,
    };
    let usual = known.and_then(|design| design.finishing_minutes).unwrap_or(0);
    let line = LineForm::read(&mut form, usual);
    let change = design.zip(line).map(|(design, line)| Deed::Add { design, line });
    make(&app, &signed, number, None, form, change).await
}

pub(crate) async fn change(
    State(app): State<App>,
    signed: Signed,
    Path((number, n)): Path<(i32, i32)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let version_n =
        if form.value("version_n").is_empty() { None } else { form.choice("version_n") };
    let line = LineForm::read(&mut form, 0).filter(|_| form.good());
    let change = line.map(|line| Deed::Change { n, version_n, line });
    make(&app, &signed, number, Some(n), form, change).await
}

pub(crate) async fn remove(
    State(app): State<App>,
    signed: Signed,
    Path((number, n)): Path<(i32, i32)>,
    form: Form,
) -> Result<Response, Fault> {
    make(&app, &signed, number, Some(n), form, Some(Deed::Remove { n })).await
}

/// Makes a change, or shows the order again with the message at the form it came from.
async fn make(
    app: &App,
    signed: &Signed,
    number: i32,
    n: Option<i32>,
    mut form: Form,
    change: Option<Deed>,
) -> Result<Response, Fault> {
    let forms = |form: Form| match n {
        Some(n) => Forms { line: Some((n, form)), ..Forms::default() },
        None => Forms { added: Some(form), ..Forms::default() },
    };
    let Some(change) = change else {
        let page = page(app, signed, number, forms(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let order = actions::lock_for_lines(conn, number, seen).await?;
            match &change {
                Deed::Add { design, line } => {
                    let design = view::design(&mut *conn, *design).await?.ok_or(Fault::NotFound)?;
                    actions::add_line(conn, signed, &order, design.version, line).await?;
                }
                Deed::Change { n, version_n, line } => {
                    actions::change_line(conn, signed, &order, *n, *version_n, line).await?;
                }
                Deed::Remove { n } => actions::remove_line(conn, signed, &order, *n).await?,
            }
            Ok(Order(number))
        })
        .await?;
    ended.or_show(page(app, signed, number, forms(form))).await
}
