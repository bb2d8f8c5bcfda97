//! One order: its lines, its quote, where its pieces are, what happened.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::new::{alloy_choices, usual_words, with_the_only};
use crate::designs::{Design, Intake, weigh};
use crate::orders::forms::OrderForm;
use crate::orders::view::{self, HistoryRow, LineRow, OrderRow, QuoteRow};
use crate::orders::{Order, OrderState, Orders, actions, store};
use crate::people::Signed;
use crate::pieces::{Cards, Filter, Standing};
use crate::promises::{self, Asked, Outlook};
use crate::web::{App, Fault, Form, Frame, Html, working_of};

/// A line with its weight and the form that changes it.
pub(crate) struct Line {
    row: LineRow,
    weight: Option<Html>,
    all_g: Option<f64>,
    form: Form,
    versions: Vec<(String, String)>,
}

#[derive(Template, WebTemplate)]
#[template(path = "orders/show.html")]
pub(crate) struct ShowOrder {
    frame: Frame,
    order: OrderRow,
    lines: Vec<Line>,
    total_g: Option<f64>,
    quote: Option<QuoteRow>,
    /// What is to be invoiced now, for the owner.
    to_invoice: Option<String>,
    outlook: Option<Outlook>,
    cards: Cards,
    history: Vec<HistoryRow>,
    alloys: Vec<(String, String)>,
    designs: Vec<(String, String)>,
    form: Form,
    added: Form,
    files: Form,
    kept: Vec<(String, String)>,
    end: Form,
    megabytes: usize,
    changed_line: Option<i32>,
    /// What finishing usually took, and of how many pieces.
    usual: Option<(i32, i64)>,
}

impl ShowOrder {
    fn usual_words(&self) -> String {
        usual_words(self.usual)
    }

    fn ready(&self) -> usize {
        self.cards.cards.iter().filter(|card| card.standing == Standing::Ready).count()
    }
}

/// The forms of the page, when one of them comes back.
#[derive(Default)]
pub(super) struct Forms {
    pub(super) details: Option<Form>,
    pub(super) line: Option<(i32, Form)>,
    pub(super) added: Option<Form>,
    pub(super) files: Intake,
    pub(super) end: Form,
}

pub(super) async fn page(
    app: &App,
    signed: &Signed,
    number: i32,
    forms: Forms,
) -> Result<ShowOrder, Fault> {
    let order = view::load(&app.pool, number).await?;
    let frame = signed.frame.clone();
    let rows = view::lines(&app.pool, order.id).await?;
    // A form that is not on the page any more still has its message, at the head.
    let mut end = forms.end;
    let gone = |n: i32| !rows.iter().any(|row| row.n == n);
    let closed = !order.state.is_open_to_change();
    let lost = [
        forms.line.as_ref().filter(|(n, _)| closed || gone(*n)).map(|(_, form)| form),
        forms.added.as_ref().filter(|_| closed),
        Some(&forms.files.form).filter(|_| closed),
    ];
    if let Some(error) = lost.into_iter().flatten().find_map(Form::general_error) {
        end.wrong("", error);
    }
    let changed_line = forms.line.as_ref().map(|(n, _)| *n);
    let mut returned = forms.line;
    let mut lines = Vec::with_capacity(rows.len());
    for row in rows {
        let form = match returned.take() {
            Some((n, form)) if n == row.n => form,
            other => {
                returned = other;
                Form::filled([
                    ("alloy", row.alloy_id.to_string()),
                    ("quantity", row.quantity.to_string()),
                    ("finishing_minutes", row.finishing_minutes.to_string()),
                    ("version_n", row.version_n.to_string()),
                ])
            }
        };
        lines.push(line_of(&frame, row, form));
    }
    let total_g = lines.iter().map(|line| line.all_g).sum::<Option<f64>>().filter(|g| *g > 0.0);
    let form = forms.details.unwrap_or_else(|| {
        Form::filled([
            ("title", order.title.clone()),
            ("due_on", order.due_on.map(|day| day.to_string()).unwrap_or_default()),
            ("note", order.note.clone()),
        ])
    });
    let usual = view::usual_finishing(&app.pool).await?;
    let alloy = view::usual_alloy(&app.pool, order.client_id, Some(order.id)).await?;
    let alloys = alloy_choices(app).await?;
    let filled = |finishing: String| {
        let form = Form::filled([
            ("alloy", alloy.map(|id| id.to_string()).unwrap_or_default()),
            ("quantity", "1".to_owned()),
            ("finishing_minutes", finishing),
        ]);
        with_the_only(form, &alloys)
    };
    let pieces = Filter { order: Some(order.id), by_due: true, ..Filter::default() };
    let kept = forms.files.taken.iter().map(|file| (file.name().to_owned(), file.kept())).collect();
    let files = if forms.files.form.value("quantity").is_empty() && forms.files.form.good() {
        filled(usual.map_or(0, |(minutes, _)| minutes).to_string())
    } else {
        forms.files.form
    };
    let known = view::designs(&app.pool).await?;
    let outlook = if order.state == OrderState::Agreed {
        let asked = Asked { day: order.due_on, ..Asked::default() };
        Some(promises::reckon(&app.pool, order.id, signed.now, asked).await?)
    } else {
        None
    };
    // What finishing takes follows from the design that is chosen.
    let added = forms.added.unwrap_or_else(|| filled(String::new()));
    Ok(ShowOrder {
        quote: view::quote(&app.pool, order.id).await?,
        to_invoice: if frame.owner() { view::to_invoice(&app.pool, order.id).await? } else { None },
        outlook,
        cards: Cards::find(&app.pool, &pieces, 500).await?,
        history: view::history(&app.pool, number).await?,
        alloys,
        designs: known
            .into_iter()
            .map(|(n, name)| (n.to_string(), format!("{n} {name}")))
            .collect(),
        megabytes: app.largest_model >> 20,
        frame,
        order,
        lines,
        total_g,
        form,
        added,
        usual,
        files,
        kept,
        end,
        changed_line,
    })
}

fn line_of(frame: &Frame, row: LineRow, form: Form) -> Line {
    let volume = row.volume_mm3.filter(|_| row.size_known);
    let weight =
        volume.and_then(|volume| weigh(volume, row.density_g_cm3, &row.density_source).ok());
    let versions = if row.versions > 1 {
        (1..=row.versions).rev().map(|n| (n.to_string(), format!("version {n}"))).collect()
    } else {
        Vec::new()
    };
    Line {
        // Pieces and lines add up as they are shown.
        all_g: weight.as_ref().map(|mass| {
            let each = frame.show.as_shown(mass.value.get());
            frame.show.as_shown(each * f64::from(row.quantity))
        }),
        weight: weight.map(|mass| working_of(&frame.show.grams(mass.value.get()), &mass.working)),
        row,
        form,
        versions,
    }
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<ShowOrder, Fault> {
    page(&app, &signed, number, Forms::default()).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let agreed = view::load(&app.pool, number).await?.due_on;
    let today = signed.now.day_in(&signed.frame.show.zone);
    let seen = form.version();
    let Some(typed) = OrderForm::read(&mut form, today, agreed) else {
        let forms = Forms { details: Some(form), ..Forms::default() };
        let page = page(&app, &signed, number, forms).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let order = store::lock(conn, number).await?;
            actions::change(conn, &signed, &order, &typed, seen).await?;
            Ok(Order(number))
        })
        .await?;
    let forms = Forms { details: Some(form), ..Forms::default() };
    ended.or_show(page(&app, &signed, number, forms)).await
}
