//! One piece: its card large, every attempt, what happened to it, and what may be done.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::db::once::Work;
use crate::losses;
use crate::people::Signed;
use crate::pieces::{self, Attempt, RouteCard, Stage, Standing};
use crate::route_cards::photos::{self, Photo};
use crate::route_cards::view::{self, Event};
use crate::route_cards::{Piece, Pieces, Ticket};
use crate::web::{App, Fault, Form, Frame, Html, Refused, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "route_cards/show.html")]
pub(crate) struct ShowPiece {
    frame: Frame,
    card: RouteCard,
    attempts: Vec<Attempt>,
    events: Vec<Event>,
    undoable: Option<String>,
    causes: Vec<String>,
    /// What its last failure costs, while it waits to be printed again.
    losses: Html,
    photos: Vec<Photo>,
    /// Two photos side by side, the earlier first.
    pair: Option<[Photo; 2]>,
    form: Form,
    refusal: Option<String>,
}

impl ShowPiece {
    fn is_being_made(&self) -> bool {
        matches!(self.card.standing, Standing::Waiting | Standing::InHand)
    }
}

/// Two photos to lay side by side; left to itself the first and the last.
#[derive(Clone, Debug, Default, Deserialize)]
pub(crate) struct Compared {
    #[serde(default)]
    before: String,
    #[serde(default)]
    after: String,
}

impl Compared {
    fn pair(&self, photos: &[Photo]) -> Option<[Photo; 2]> {
        let chosen = |id: &str| photos.iter().find(|photo| photo.id.to_string() == id);
        // The newest stands first.
        let before = chosen(&self.before).or(photos.last())?;
        let after = chosen(&self.after).or(photos.first())?;
        (before.id != after.id).then(|| [before.clone(), after.clone()])
    }
}

/// Makes the page; a form that was refused is shown with what was typed in it.
pub(super) async fn page(
    app: &App,
    signed: &Signed,
    label: &str,
    compared: &Compared,
    back: Option<(Form, Option<Refused>)>,
) -> Result<ShowPiece, Fault> {
    let card = view::card(&app.pool, label).await?;
    let attempts = pieces::attempts(&app.pool, &card).await?;
    let events = view::events(&app.pool, card.piece).await?;
    let undoable = view::undoable(&card, &events);
    let causes = pieces::causes(&app.pool, card.stage).await?;
    let photos = photos::of(&app.pool, card.piece).await?;
    let (form, refused) = back.unwrap_or_default();
    Ok(ShowPiece {
        frame: signed.frame.clone(),
        card,
        attempts,
        events,
        undoable,
        causes,
        losses: losses::of_piece(&app.pool, &signed.frame, label).await?,
        pair: compared.pair(&photos),
        photos,
        form,
        refusal: refused.map(|refused| refused.message),
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    Query(compared): Query<Compared>,
) -> Result<ShowPiece, Fault> {
    page(&app, &signed, &label, &compared, None).await
}

/// Ends a request: commits what was done, or shows the piece as it is with the refusal above.
pub(super) async fn answer(
    app: &App,
    signed: &Signed,
    label: &str,
    form: Form,
    work: Work,
    done: Result<(), Fault>,
) -> Result<Response, Fault> {
    match done {
        Ok(()) => {
            let place = Piece(label).to_string();
            work.commit(&place).await?;
            Ok(see_other(&place))
        }
        Err(Fault::Refused(refused)) => {
            drop(work);
            let status = refused.status;
            let page =
                page(app, signed, label, &Compared::default(), Some((form, Some(refused)))).await?;
            Ok((status, page).into_response())
        }
        Err(fault) => Err(fault),
    }
}
