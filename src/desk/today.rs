//! Today: what is next, what is late, where everything is.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;

use super::view::{self, AtStage, OrderRow, Paperwork, Task};
use crate::clock::Moment;
use crate::people::Signed;
use crate::pieces::{Cards, Filter, Stage, Standing};
use crate::web::{App, Fault, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "desk/today.html")]
pub(crate) struct Today {
    frame: Frame,
    now: Moment,
    stages: Vec<AtStage>,
    tasks: Vec<Task>,
    due: Vec<OrderRow>,
    ready: Vec<OrderRow>,
    enquiries: i64,
    quoted: i64,
    paperwork: Paperwork,
    cards: Cards,
}

impl Today {
    fn empty(&self) -> bool {
        self.cards.cards.is_empty()
            && self.tasks.is_empty()
            && self.enquiries == 0
            && self.quoted == 0
    }

    /// Where a stage's work is done.
    fn room(&self, stage: &Stage) -> &'static str {
        match stage {
            Stage::Print => "/plates",
            Stage::Cure => "/cure",
            Stage::Invest => "/flasks",
            Stage::Burnout => "/plan",
            Stage::Cast => "/pours",
            Stage::Finish => "/finishing",
        }
    }
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<Today, Fault> {
    let pool = &app.pool;
    let filter = Filter {
        standing: vec![Standing::Waiting, Standing::InHand],
        by_due: true,
        ..Filter::default()
    };
    let today = signed.now.day_in(&signed.frame.show.zone);
    let (enquiries, quoted) = view::talked_about(pool).await?;
    Ok(Today {
        now: signed.now,
        stages: view::at_stages(pool).await?,
        tasks: view::tasks(pool, signed.now).await?,
        due: view::due_by(pool, today.plus_days(5)).await?,
        ready: view::ready(pool).await?,
        enquiries,
        quoted,
        paperwork: view::paperwork(pool, today).await?,
        cards: Cards::find(pool, &filter, 12).await?,
        frame: signed.frame,
    })
}
