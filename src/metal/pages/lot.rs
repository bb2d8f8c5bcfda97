//! One lot of metal: what is left of it, and everything it went into, for a recall.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};

use crate::id::MetalLotId;
use crate::metal::trace::{self, LotHead, PieceOf, Use};
use crate::metal::{EntryPage, MetalPage, OfAlloy, OfFlask};
use crate::people::Signed;
use crate::web::{App, Fault, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "metal/lot.html")]
pub(crate) struct ShowLot {
    frame: Frame,
    lot: LotHead,
    uses: Vec<Use>,
    pieces: Vec<PieceOf>,
}

impl ShowLot {
    fn clients(&self) -> usize {
        let mut names: Vec<_> = self.pieces.iter().map(|piece| &piece.client).collect();
        names.dedup();
        names.len()
    }

    fn out(&self) -> usize {
        self.pieces.iter().filter(|piece| piece.where_now() == "with the client").count()
    }
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<MetalLotId>,
) -> Result<ShowLot, Fault> {
    let lot = trace::lot(&app.pool, id).await?;
    let uses = trace::uses(&app.pool, id).await?;
    let pieces = trace::pieces(&app.pool, id).await?;
    Ok(ShowLot { frame: signed.frame, lot, uses, pieces })
}
