//! Proposed flasks: what waits to be invested, on trees of true shapes; one tap begins them.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::flasks::actions;
use crate::flasks::arrange::{ATTACH, ArrangedFlask, HEAVY, SPRUES, TreeWish, Trees};
use crate::flasks::forms::NewFlask;
use crate::flasks::map::TreeMap;
use crate::flasks::view::{self, Choices, Owned, WaitingAlloy, WaitingPiece};
use crate::id::{AlloyId, FlaskTypeId, PieceId};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "flasks/propose.html")]
pub(crate) struct ProposeFlasksPage {
    frame: Frame,
    form: Form,
    alloys: Vec<WaitingAlloy>,
    alloy: Option<AlloyId>,
    pieces: Vec<WaitingPiece>,
    choices: Choices,
    has_cylinders: bool,
    trees: Option<Trees>,
    /// Kinds of which none is free, and when the next is.
    full: Vec<Owned>,
}

impl ProposeFlasksPage {
    fn is_chosen(&self, alloy: &AlloyId) -> bool {
        self.alloy == Some(*alloy)
    }

    fn map(&self, flask: &ArrangedFlask) -> TreeMap {
        TreeMap::of(&flask.tree, &flask.pieces)
    }

    fn tiers(&self, flask: &ArrangedFlask) -> i32 {
        flask.pieces.iter().map(|piece| piece.tier).max().unwrap_or(0)
    }

    /// How a flask is named in the form that begins it.
    fn named(&self, flask: &ArrangedFlask) -> String {
        let pieces: Vec<String> =
            flask.pieces.iter().map(|piece| piece.piece.to_string()).collect();
        format!("{}:{}", flask.cylinder.id, pieces.join(","))
    }

    /// That a smaller kind than one that is proposed is in use, each with its words.
    fn taken(&self) -> Vec<String> {
        let proposed = self.trees.iter().flat_map(|trees| &trees.flasks);
        let Some(largest) = proposed.map(|flask| flask.cylinder.diameter_mm).max() else {
            return self.full.iter().map(|kind| self.when_free(kind)).collect();
        };
        let smaller = self.full.iter().filter(|kind| kind.diameter_mm < largest);
        smaller.map(|kind| self.when_free(kind)).collect()
    }

    fn when_free(&self, kind: &Owned) -> String {
        kind.full_words(|at| self.frame.show.day_of(at))
    }

    fn due(&self, piece: &PieceId) -> Option<String> {
        let waiting = self.pieces.iter().find(|waiting| waiting.id == *piece)?;
        Some(self.frame.show.day(waiting.due_on?))
    }

    fn late(&self, piece: &PieceId) -> bool {
        let waiting = self.pieces.iter().find(|waiting| waiting.id == *piece);
        waiting.and_then(|one| one.due_on).is_some_and(|due| self.frame.show.past(due))
    }
}

async fn page(app: &App, signed: &Signed, mut form: Form) -> Result<ProposeFlasksPage, Fault> {
    let alloys = view::waiting_alloys(&app.pool).await?;
    let wanted: Option<AlloyId> = form.value("alloy").parse().ok();
    let chosen = alloys.iter().find(|one| wanted.is_none_or(|id| id == one.id));
    let choices = view::choices(&app.pool, signed.now).await?;
    TreeWish::default().fill(&mut form);
    let first = |options: Option<String>| options.unwrap_or_default();
    let starts = [
        ("investment", first(choices.investments.first().map(|(id, _)| id.to_string()))),
        ("family", first(choices.families.first().map(|(id, _)| id.to_string()))),
        ("flask_c", first(chosen.map(|one| one.flask_c.to_string()))),
    ];
    for (name, start) in starts {
        if form.value(name).is_empty() {
            form.set(name, &start);
        }
    }
    let alloy = chosen.map(|one| one.id);
    let pieces = match alloy {
        Some(alloy) => view::waiting_pieces(&app.pool, alloy).await?,
        None => Vec::new(),
    };
    let cylinders = view::cylinders(&app.pool).await?;
    let mut full = view::owned(&app.pool, None, signed.now).await?;
    full.retain(|kind| kind.owned > 0 && kind.is_full());
    let mut page = ProposeFlasksPage {
        frame: signed.frame.clone(),
        form,
        alloys,
        alloy,
        pieces,
        choices,
        has_cylinders: !cylinders.is_empty(),
        trees: None,
        full,
    };
    if page.pieces.is_empty() || cylinders.is_empty() {
        return Ok(page);
    }
    let Some(wish) = TreeWish::read(&mut page.form) else { return Ok(page) };
    let hanging = page.pieces.iter().map(WaitingPiece::hanging).collect();
    match actions::work_out_trees(&app.pool, wish, cylinders, hanging).await {
        Ok(trees) => page.trees = Some(trees),
        Err(Fault::Refused(refused)) => page.form.refuse(&refused),
        Err(fault) => return Err(fault),
    }
    Ok(page)
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    RawQuery(query): RawQuery,
) -> Result<ProposeFlasksPage, Fault> {
    page(&app, &signed, Form::parse(query.unwrap_or_default().as_bytes())).await
}

/// The flasks that are to be begun: kind and pieces of each.
fn named(form: &mut Form) -> Vec<(FlaskTypeId, Vec<PieceId>)> {
    let read = |named: &str| {
        let (kind, pieces) = named.split_once(':')?;
        let pieces: Vec<PieceId> = pieces.split(',').filter_map(|id| id.parse().ok()).collect();
        (!pieces.is_empty()).then_some((kind.parse().ok()?, pieces))
    };
    let flasks: Vec<_> = form.all("flask").filter_map(read).collect();
    if flasks.is_empty() {
        form.wrong("", "No flask was named; propose again.");
    }
    flasks
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let flasks = named(&mut form);
    let alloy: Option<AlloyId> = form.choice("alloy");
    let investment = form.choice("investment");
    let family = form.choice("family");
    let flask_c = form.number("flask_c", 0.0, 1400.0);
    let wish = TreeWish::read(&mut form);
    let sure = form.is_sure();
    let (true, Some(alloy), Some(investment), Some(family), Some(flask_c), Some(wish)) =
        (form.good(), alloy, investment, family, flask_c, wish)
    else {
        let page = page(&app, &signed, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let mut begun = Vec::new();
            for (flask_type, pieces) in flasks {
                let note = String::new();
                let flask =
                    NewFlask { flask_type, alloy, investment, family, flask_c, pieces, note, sure };
                let number =
                    actions::begin_arranged(&app.pool, conn, &signed, &flask, &wish).await?;
                begun.push(number);
            }
            Ok(match begun[..] {
                [number] => format!("/flasks/{number}"),
                _ => "/flasks".to_owned(),
            })
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}
