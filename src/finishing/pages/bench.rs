//! The bench: what is in hand, what waits, what is ready for its client.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;

use crate::finishing::BenchPiece;
use crate::finishing::view::{self, BenchRow};
use crate::people::Signed;
use crate::pieces::Standing;
use crate::web::{App, Fault, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "finishing/bench.html")]
pub(crate) struct ShowBench {
    frame: Frame,
    in_hand: Vec<BenchRow>,
    waiting: Vec<BenchRow>,
    ready: Vec<BenchRow>,
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<ShowBench, Fault> {
    let in_hand = view::standing(&app.pool, Standing::InHand).await?;
    let waiting = view::standing(&app.pool, Standing::Waiting).await?;
    let ready = view::standing(&app.pool, Standing::Ready).await?;
    Ok(ShowBench { frame: signed.frame, in_hand, waiting, ready })
}
