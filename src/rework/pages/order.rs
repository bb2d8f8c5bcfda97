//! Pieces of an order that go on apart from the others, or with those of another order.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::clock::Day;
use crate::id::PieceId;
use crate::losses;
use crate::people::{Owner, Signed};
use crate::promises::{self, Asked, Outlook, PieceAt};
use crate::rework::actions::{self, Target};
use crate::rework::view::{self, OrderPiece, OrderRow};
use crate::web::{App, Fault, Form, Frame};

/// A piece and when it is ready.
pub(crate) struct Row {
    piece: OrderPiece,
    ready: Option<Day>,
}

#[derive(Template, WebTemplate)]
#[template(path = "rework/order.html")]
pub(crate) struct Split {
    frame: Frame,
    order: OrderRow,
    /// Its days, as its own page tells them.
    outlook: Option<Outlook>,
    rows: Vec<Row>,
    sisters: Vec<OrderRow>,
    form: Form,
}

impl Split {
    fn is_ticked(&self, piece: &PieceId) -> bool {
        let piece = piece.to_string();
        self.form.all("pieces").any(|ticked| ticked == piece)
    }

    fn targets(&self) -> Vec<(String, String)> {
        let new = ("new".to_owned(), "a new order of its own".to_owned());
        let sister = |order: &OrderRow| {
            let due = order.due_on.map(|day| format!(", due {}", self.frame.show.day(day)));
            (
                order.number.to_string(),
                format!("order {}, {}{}", order.number, order.title, due.unwrap_or_default()),
            )
        };
        std::iter::once(new).chain(self.sisters.iter().map(sister)).collect()
    }

    /// When the last of them is ready.
    fn last_ready(&self) -> Option<Day> {
        self.rows.iter().map(|row| row.ready).collect::<Option<Vec<_>>>()?.into_iter().max()
    }
}

async fn page(app: &App, signed: &Signed, number: i32, form: Form) -> Result<Split, Fault> {
    let order = view::order(&app.pool, number).await?;
    let pieces = view::order_pieces(&app.pool, number).await?;
    let (outlook, days) = days(app, signed, &order, &pieces).await?;
    let rows = pieces.into_iter().zip(days).map(|(piece, ready)| Row { piece, ready }).collect();
    let sisters = view::sisters(&app.pool, number).await?;
    Ok(Split { frame: signed.frame.clone(), order, outlook, rows, sisters, form })
}

/// The days of the order, and of each of its pieces: those of promises, else from the records of
/// each stage.
async fn days(
    app: &App,
    signed: &Signed,
    order: &OrderRow,
    pieces: &[OrderPiece],
) -> Result<(Option<Outlook>, Vec<Option<Day>>), Fault> {
    let wanted: Vec<PieceAt> = pieces.iter().map(|piece| PieceAt::Piece(piece.id)).collect();
    if let Some(days) = promises::days(&app.pool, order.id, signed.now, &wanted).await? {
        let asked = Asked::default();
        let outlook = promises::reckon(&app.pool, order.id, signed.now, asked).await?;
        return Ok((Some(outlook), days));
    }
    let typical = losses::typical(&app.pool, signed.now).await?;
    let today = signed.now.day_in(&signed.frame.show.zone);
    let day = |piece: &OrderPiece| {
        let days = losses::days_left(&typical, piece.state())?;
        Some(today.plus_days(days.ceil() as i32))
    };
    Ok((None, pieces.iter().map(day).collect()))
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
) -> Result<Split, Fault> {
    page(&app, &signed, number, Form::default()).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut wanted: Vec<PieceId> = form.all("pieces").filter_map(|id| id.parse().ok()).collect();
    wanted.sort_unstable();
    wanted.dedup();
    if wanted.is_empty() {
        form.wrong("pieces", "Tick at least one piece.");
    }
    let due_on = form.day_or_none("due_on");
    let target = match form.value("to") {
        "new" => Some(Target::New(due_on)),
        other => other.parse().ok().map(Target::Order),
    };
    if target.is_none() {
        form.wrong("to", "Choose where they go.");
    }
    let (Some(target), true) = (target, form.good()) else {
        let page = page(&app, &signed, number, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let to = actions::move_pieces(conn, &signed, number, seen, &wanted, target).await?;
            Ok(format!("/orders/{to}"))
        })
        .await?;
    ended.or_show(page(&app, &signed, number, form)).await
}
