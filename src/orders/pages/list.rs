//! All orders: open ones first, by the day they are due.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::clock::Day;
use crate::orders::state::OrderState;
use crate::orders::view::{self, Filter, ListRow};
use crate::orders::{NewOrder, Order, Orders};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, PageLinks, Turned};

const SIZE: u32 = 50;

#[derive(Template, WebTemplate)]
#[template(path = "orders/list.html")]
pub(crate) struct ListOrders {
    frame: Frame,
    today: Day,
    search: String,
    state: String,
    orders: Vec<ListRow>,
    links: PageLinks,
}

impl ListOrders {
    /// The filters: the word in the address, and the words on the page.
    fn filters(&self) -> Vec<(&'static str, &'static str)> {
        vec![
            ("", "Open"),
            ("late", "Late"),
            ("enquiry", "Enquiries"),
            ("quoted", "Quoted"),
            ("agreed", "Agreed"),
            ("ready", "Ready"),
            ("handed_over", "Handed over"),
            ("cancelled", "Cancelled"),
            ("all", "All"),
        ]
    }

    fn place(&self, state: &str) -> String {
        PageLinks::base(&Orders.to_string(), &[("state", state), ("search", &self.search)])
    }
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    search: String,
    #[serde(default)]
    state: String,
    #[serde(flatten)]
    turned: Turned,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<ListOrders, Fault> {
    let search = wanted.search.trim().replace('\0', "");
    let today = signed.now.day_in(&signed.frame.show.zone);
    let state = OrderState::ALL.into_iter().find(|state| state.name() == wanted.state);
    let filter = Filter {
        state,
        late_on: (wanted.state == "late").then_some(today),
        open: state.is_none() && wanted.state != "all",
        search: search.clone(),
    };
    let page = view::list(&app.pool, &filter, &wanted.turned, SIZE).await?;
    let shown = match wanted.state.as_str() {
        word @ ("late" | "all") => word.to_owned(),
        _ => state.map(|state| state.name().to_owned()).unwrap_or_default(),
    };
    let fields = [("state", shown.as_str()), ("search", search.as_str())];
    let base = PageLinks::base(&Orders.to_string(), &fields);
    let links = page.links(&base);
    Ok(ListOrders { frame: signed.frame, today, search, state: shown, orders: page.rows, links })
}
