//! Today: what is next, what is late, where everything is.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;

use crate::people::Signed;
use crate::pieces::{Cards, Filter, Standing};
use crate::web::{App, Fault, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "desk/today.html")]
pub(crate) struct Today {
    frame: Frame,
    cards: Cards,
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<Today, Fault> {
    let filter = Filter {
        standing: vec![Standing::Waiting, Standing::InHand],
        by_due: true,
        ..Filter::default()
    };
    let cards = Cards::find(&app.pool, &filter, 12, 0).await?;
    Ok(Today { frame: signed.frame, cards })
}
