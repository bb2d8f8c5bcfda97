//! All pieces as a stack of route cards, narrowed by stage, standing, lateness or words.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::people::Signed;
use crate::pieces::{Cards, Filter, RouteCard, Stage, Standing};
use crate::route_cards::Pieces;
use crate::web::{App, Fault, Frame, PageLinks, Turned};

const SIZE: u32 = 40;

#[derive(Template, WebTemplate)]
#[template(path = "route_cards/list.html")]
pub(crate) struct ListPieces {
    frame: Frame,
    wanted: Wanted,
    rows: i64,
    cards: Vec<RouteCard>,
    links: PageLinks,
}

#[derive(Clone, Debug, Default, Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    search: String,
    #[serde(default)]
    stage: String,
    #[serde(default)]
    standing: String,
    #[serde(default)]
    late: String,
    #[serde(flatten)]
    turned: Turned,
}

/// What may be asked for, and what it is called.
const STANDINGS: [(&str, &str); 7] = [
    ("", "Being made"),
    ("waiting", "Waiting"),
    ("in_hand", "In hand"),
    ("ready", "Ready"),
    ("handed_over", "Handed over"),
    ("cancelled", "Cancelled"),
    ("all", "All"),
];

impl Wanted {
    fn standings(&self) -> Vec<Standing> {
        match self.standing.as_str() {
            "waiting" => vec![Standing::Waiting],
            "in_hand" => vec![Standing::InHand],
            "ready" => vec![Standing::Ready],
            "handed_over" => vec![Standing::HandedOver],
            "cancelled" => vec![Standing::Cancelled],
            "all" => Vec::new(),
            _ => vec![Standing::Waiting, Standing::InHand],
        }
    }

    fn address(&self, stage: &str, standing: &str, late: &str) -> String {
        let fields =
            [("stage", stage), ("standing", standing), ("late", late), ("search", &self.search)];
        PageLinks::base(&Pieces.to_string(), &fields)
    }

    fn at_stage(&self, stage: &str) -> String {
        self.address(stage, &self.standing, &self.late)
    }

    fn at_standing(&self, standing: &str) -> String {
        self.address(&self.stage, standing, &self.late)
    }

    fn late_or_not(&self) -> String {
        let late = if self.late.is_empty() { "yes" } else { "" };
        self.address(&self.stage, &self.standing, late)
    }

    fn is_narrowed(&self) -> bool {
        !(self.search.is_empty()
            && self.stage.is_empty()
            && self.standing.is_empty()
            && self.late.is_empty())
    }
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(mut wanted): Query<Wanted>,
) -> Result<ListPieces, Fault> {
    wanted.search = wanted.search.trim().chars().take(200).collect();
    let standing = wanted.standings();
    let by_due = standing.iter().any(|s| matches!(s, Standing::Waiting | Standing::InHand));
    let filter = Filter {
        stage: wanted.stage.parse().ok(),
        standing,
        search: wanted.search.clone(),
        late_on: (!wanted.late.is_empty()).then(|| signed.now.day_in(&signed.frame.show.zone)),
        by_due,
        ..Filter::default()
    };
    let page = Cards::page(&app.pool, &filter, &wanted.turned, SIZE).await?;
    let base = wanted.address(&wanted.stage, &wanted.standing, &wanted.late);
    let (rows, links) = (page.all(), page.links(&base));
    Ok(ListPieces { frame: signed.frame, wanted, rows, cards: page.rows, links })
}
