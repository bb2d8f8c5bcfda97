//! One piece: its card large, every attempt, what happened to it, and what may be done.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use serde::Deserialize;
use sqlx::PgConnection;

use crate::clock::Moment;
use crate::id::PhotoId;
use crate::losses;
use crate::people::Signed;
use crate::pieces::{self, Attempt, RouteCard, Stage, Standing};
use crate::route_cards::photos::{self, Photo};
use crate::route_cards::view::{self, Event};
use crate::route_cards::{Piece, Pieces, Ticket};
use crate::web::{App, Fault, Form, Frame, Html};

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
    /// One that was just taken off, and when.
    just_off: Option<(PhotoId, Moment)>,
    /// Two photos side by side, the earlier first.
    pair: Option<[Photo; 2]>,
    form: Form,
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
    form: Form,
) -> Result<ShowPiece, Fault> {
    let card = view::card(&app.pool, label).await?;
    let attempts = pieces::attempts(&app.pool, &card).await?;
    let events = view::events(&app.pool, card.piece).await?;
    let undoable = view::undoable(&card, &events);
    let causes = pieces::causes(&app.pool, card.stage).await?;
    let photos = photos::of(&app.pool, card.piece).await?;
    let just_off = photos::just_off(&app.pool, card.piece, signed.now).await?;
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
        just_off,
        form,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    Query(compared): Query<Compared>,
) -> Result<ShowPiece, Fault> {
    page(&app, &signed, &label, &compared, Form::default()).await
}

/// Does one thing to a piece, once; a refusal stands above the piece as it is.
pub(super) async fn step(
    app: &App,
    signed: &Signed,
    label: &str,
    mut form: Form,
    act: impl AsyncFnOnce(&mut PgConnection, i64) -> Result<(), Fault>,
) -> Result<Response, Fault> {
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            act(conn, seen).await.map_err(|fault| fault.at(""))?;
            Ok(Piece(label))
        })
        .await?;
    ended.or_show(page(app, signed, label, &Compared::default(), form)).await
}
