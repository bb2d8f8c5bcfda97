//! The page: every verdict beside what became of the castings it was said of.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;

use super::model::{LEAST, What};
use super::view::{self, Counted};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, Html, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "forecasts/show.html")]
pub(crate) struct Forecasts {
    frame: Frame,
    rows: Vec<Counted>,
}

impl Forecasts {
    fn empty(&self) -> bool {
        self.rows.iter().all(|row| row.tally.total() == 0 && row.open == 0)
    }

    fn of(&self, what: &What) -> Vec<&Counted> {
        self.rows.iter().filter(|row| row.what == *what).collect()
    }

    /// The share that came out, opening into its working, with its interval.
    fn share(&self, row: &Counted) -> Option<(Html, Html)> {
        let (share, show) = (row.share()?, &self.frame.show);
        let figure = working_of(&show.number(share.share, 0, "%"), &share.working);
        let ends = (show.number(share.low, 0, ""), show.number(share.high, 0, "%"));
        Some((figure, Html::trusted(format!("{} to {}", ends.0, ends.1))))
    }

    fn least(&self) -> u64 {
        LEAST
    }

    fn per_cent(&self, chance: &f64) -> Html {
        self.frame.show.number(chance * 100.0, 0, "%")
    }
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<Forecasts, Fault> {
    let mut conn = app.pool.acquire().await?;
    let rows = view::counted(&mut conn).await?;
    Ok(Forecasts { frame: signed.frame, rows })
}
