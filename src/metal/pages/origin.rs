//! Where the metal of a flask, or of a piece, came from.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};

use crate::metal::trace::{self, Behind, Poured};
use crate::metal::{LotPage, MetalPage, OfAlloy, OfFlask};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "metal/origin.html")]
pub(crate) struct Origin {
    frame: Frame,
    of: Poured,
    behind: Behind,
}

impl Origin {
    /// Fresh metal of no known lot, in centigrams.
    fn unknown_fresh(&self) -> i64 {
        let known: i64 = self.behind.sources.iter().filter_map(|source| source.cg).sum();
        self.of.fresh_cg - known
    }

    /// Returns of no known flask, in centigrams.
    fn unknown_returns(&self) -> i64 {
        self.of.returns_cg - self.behind.returns.iter().map(|of| of.cg).sum::<i64>()
    }

    fn earlier(&self) -> String {
        self.behind.flasks.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
    }
}

#[derive(Template, WebTemplate)]
#[template(path = "metal/not_poured.html")]
pub(crate) struct NotPoured {
    frame: Frame,
    label: String,
}

pub(crate) async fn of_flask(
    State(app): State<App>,
    signed: Signed,
    Path(flask): Path<i32>,
) -> Result<Origin, Fault> {
    let of = trace::poured(&app.pool, flask).await?;
    let behind = trace::behind(&app.pool, &of).await?;
    Ok(Origin { frame: signed.frame, of, behind })
}

pub(crate) async fn of_piece(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
) -> Result<Response, Fault> {
    match trace::flask_of_piece(&app.pool, &label).await? {
        Some(flask) => Ok(see_other(&OfFlask(flask).to_string())),
        None => Ok(NotPoured { frame: signed.frame, label }.into_response()),
    }
}
