//! The pour sheet, in pouring order: read at the furnace, printed, and filled in.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::clock::Moment;
use crate::flasks::FlaskState;
use crate::id::ClientId;
use crate::losses;
use crate::metal::{self, Drawer, Fume, LotLeft, ReturnsLeft, lots_left, returns_left};
use crate::people::Signed;
use crate::pieces::Stage;
use crate::pours::actions;
use crate::pours::forms::{COVERS, PourForm, share_field};
use crate::pours::view::{self, Between, SheetPiece, SheetRow};
use crate::web::{App, Fault, Form, Frame, Html};

/// So long what failed in a pour stands on the sheet: a day at the furnace.
const SHOWN_MIN: i64 = 12 * 60;

/// So many lots are offered to share a charge between; the oldest.
const MOST_SHARES: usize = 6;

fn grams(cg: i64) -> String {
    format!("{}.{:02}", cg / 100, cg % 100)
}

/// A flask on the sheet, with its form when it is hot.
pub(crate) struct Line {
    flask: SheetRow,
    /// What its kiln's controller is to be set to before and after it.
    between: Between,
    pieces: Vec<SheetPiece>,
    form: Option<Form>,
    /// Lots of its alloy, the oldest first, when it is hot.
    lots: Vec<LotLeft>,
    /// Returns of its alloy, the oldest first, when it is hot.
    bags: Vec<ReturnsLeft>,
    open: bool,
    drawers: Vec<Drawer>,
}

impl Line {
    fn lot_choices(&self) -> Vec<(String, String)> {
        let mut choices = vec![(String::new(), "the oldest first".to_owned())];
        choices.extend(self.lots.iter().map(|lot| {
            (lot.id.to_string(), format!("all of {}, {} g left", lot.lot, grams(lot.left_cg)))
        }));
        choices
    }

    fn bag_choices(&self) -> Vec<(String, String)> {
        let mut choices = vec![(String::new(), "the oldest first".to_owned())];
        choices.extend(self.bags.iter().map(|bag| {
            let words = format!("all of flask {}, {} g left", bag.flask, grams(bag.left_cg));
            (bag.pour_id.to_string(), words)
        }));
        choices
    }

    /// Fields for how much is of which: the word of the kind, the id, the field, its label.
    fn shares(&self) -> Vec<(&'static str, String, String, String)> {
        let lots = self.lots.iter().take(MOST_SHARES).map(|lot| {
            let id = lot.id.to_string();
            let label = format!("Lot {}, of {} g", lot.lot, grams(lot.left_cg));
            ("lot", id.clone(), share_field("lot", id), label)
        });
        let bags = self.bags.iter().take(MOST_SHARES).map(|bag| {
            let id = bag.pour_id.to_string();
            let label = format!("Returns of flask {}, of {} g", bag.flask, grams(bag.left_cg));
            ("bag", id.clone(), share_field("bag", id), label)
        });
        lots.chain(bags).collect()
    }

    fn shared(&self) -> bool {
        let Some(form) = &self.form else { return false };
        self.shares().iter().any(|(_, _, field, _)| !form.value(field).is_empty())
    }

    fn owners(&self) -> Vec<(ClientId, String)> {
        self.drawers
            .iter()
            .map(|drawer| {
                let grams = drawer.cg as f64 / 100.0;
                (drawer.client_id, format!("{}, {grams:.2} g", drawer.client))
            })
            .collect()
    }

    fn labels(&self) -> String {
        self.pieces.iter().map(|piece| piece.label.as_str()).collect::<Vec<_>>().join(", ")
    }

    fn ticked(&self, piece: &SheetPiece) -> bool {
        let id = piece.piece_id.to_string();
        self.form.as_ref().is_some_and(|form| form.all("failed").any(|ticked| ticked == id))
    }
}

#[derive(Template, WebTemplate)]
#[template(path = "pours/sheet.html")]
pub(crate) struct PourSheet {
    frame: Frame,
    lines: Vec<Line>,
    causes: Vec<(String, String)>,
    /// What its alloys give off, each with their names.
    fumes: Vec<(&'static Fume, String)>,
    /// Flasks that are poured and not divested, and when.
    poured: Vec<(i32, Moment)>,
    /// What failed in the pours of the last hours, with what that costs.
    losses: Html,
}

impl PourSheet {
    /// The time of today's pours, day and time of others: the sheet's head names the day.
    fn when(&self, line: &Line) -> String {
        let (show, at) = (&self.frame.show, line.flask.planned_pour_at);
        if show.day_of(at) == show.day_of(show.now) { show.time(at) } else { show.moment(at) }
    }
}

async fn page(
    app: &App,
    signed: &Signed,
    mut wrong: Option<(i32, Form)>,
) -> Result<PourSheet, Fault> {
    let flasks = view::sheet(&app.pool).await?;
    let ids: Vec<_> = flasks.iter().map(|flask| flask.flask_id).collect();
    let alloys: Vec<_> = flasks.iter().map(|flask| flask.alloy_id).collect();
    let fumes = metal::fumes(&app.pool, &alloys).await?;
    let pieces = view::pieces(&app.pool, &ids).await?;
    let mut lines = Vec::with_capacity(flasks.len());
    let between = view::between(&flasks);
    for (flask, between) in flasks.into_iter().zip(between) {
        let its: Vec<SheetPiece> =
            pieces.iter().filter(|piece| piece.flask_id == flask.flask_id).cloned().collect();
        let hot = flask.state == FlaskState::Hot;
        let typed =
            wrong.take_if(|(number, _)| hot && *number == flask.number).map(|(_, form)| form);
        let open = typed.is_some();
        let drawers = if hot { view::own(&app.pool, flask.alloy_id).await? } else { Vec::new() };
        let form = if hot {
            Some(match typed {
                Some(form) => form,
                None => filled(app, &flask, &its, &drawers).await?,
            })
        } else {
            None
        };
        let (lots, bags) = if hot {
            let alloy = flask.alloy_id;
            (lots_left(&app.pool, alloy).await?, returns_left(&app.pool, alloy).await?)
        } else {
            (Vec::new(), Vec::new())
        };
        lines.push(Line { flask, between, pieces: its, form, lots, bags, open, drawers });
    }
    let poured = view::poured_since(&app.pool, signed.now.plus_minutes(-SHOWN_MIN)).await?;
    let losses = losses::of_batches(&app.pool, &signed.frame, &poured, &[Stage::Cast]).await?;
    let causes = view::causes(&app.pool).await?;
    let mut frame = signed.frame.clone();
    // The flask has no form here: it is not hot, somebody poured it, or its load was given up.
    if let Some((_, form)) = wrong {
        frame.notice = form.general_error().map(str::to_owned);
    }
    let poured = view::open(&app.pool).await?;
    Ok(PourSheet { frame, lines, causes, fumes, poured, losses })
}

/// Proposes the charge: a client's own metal when all pieces are for them, then as many
/// returns as the rule and the stock allow, the rest fresh.
async fn filled(
    app: &App,
    flask: &SheetRow,
    pieces: &[SheetPiece],
    drawers: &[Drawer],
) -> Result<Form, Fault> {
    let least_fresh = view::least_fresh(&app.pool, flask.alloy_id).await?;
    let whole_cg = (flask.charge_g.unwrap_or(0.0) * 100.0).round() as i64;
    let own = drawers.iter().find(|drawer| {
        !pieces.is_empty() && pieces.iter().all(|piece| piece.client_id == drawer.client_id)
    });
    let own_cg = own.map_or(0, |drawer| drawer.cg.min(whole_cg));
    let charge_cg = whole_cg - own_cg;
    let stock = view::stock(&app.pool, flask.alloy_id).await?;
    let most = ((charge_cg as f64) * (1.0 - least_fresh)).floor() as i64;
    let returns = stock.returns_cg.clamp(0, most.max(0));
    Ok(Form::filled([
        ("fresh_g", grams(charge_cg - returns)),
        ("returns_g", grams(returns)),
        ("own_g", if own_cg > 0 { grams(own_cg) } else { String::new() }),
        ("own_client", own.map(|drawer| drawer.client_id.to_string()).unwrap_or_default()),
        ("melt_c", flask.melt_c.to_string()),
        ("flask_c", flask.flask_c.to_string()),
        ("method", "vacuum".to_owned()),
        ("result", "good".to_owned()),
        ("quench_min", "12".to_owned()),
    ]))
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<PourSheet, Fault> {
    page(&app, &signed, None).await
}

pub(crate) async fn pour(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(pour) = PourForm::read(&mut form) else {
        let page = page(&app, &signed, Some((number, form))).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::pour(conn, &signed, number, &pour).await?;
            Ok("/pours")
        })
        .await?;
    ended.or_show(page(&app, &signed, Some((number, form)))).await
}
