//! The rules of the price book: tasks, taxes, classes of clients, minimum and rounding.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::audit;
use crate::id::TaxId;
use crate::people::{Owner, Signed};
use crate::prices::Prices;
use crate::prices::fetch::{self, Fetching};
use crate::prices::paths::PriceRules;
use crate::prices::rules::{self, Added, Class, Rules, Task, TaxRow};
use crate::web::{App, Fault, Form, Frame, Refused, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "prices/rules.html")]
pub(crate) struct RulesPage {
    frame: Frame,
    rules: Rules,
    tasks: Vec<Task>,
    taxes: Vec<TaxRow>,
    classes: Vec<Class>,
    fetching: Fetching,
    form: Form,
}

impl RulesPage {
    fn tax_choices(&self) -> Vec<(String, String)> {
        let mut choices = vec![(String::new(), "the studio's".to_owned())];
        choices.extend(self.taxes.iter().map(|tax| (tax.id.to_string(), tax.name.clone())));
        choices
    }

    fn tax_of(&self, id: &Option<TaxId>) -> &str {
        let tax = self.taxes.iter().find(|tax| Some(tax.id) == *id);
        tax.map_or("the studio's", |tax| tax.name.as_str())
    }
}

async fn page(app: &App, signed: &Signed, form: Option<Form>) -> Result<RulesPage, Fault> {
    let rules = Rules::load(&app.pool).await?;
    let fetching = Fetching::load(&app.pool).await?;
    let form = form.unwrap_or_else(|| {
        let mut form = Form::filled([
            ("least_net", rules.least_net.normalize().to_string()),
            ("rounding", rules.rounding.clone()),
            ("price_by", rules.price_by.clone()),
        ]);
        form.set("fetch_url", &fetching.fetch_url);
        if fetching.fetch_daily {
            form.set("fetch_daily", "yes");
        }
        form
    });
    Ok(RulesPage {
        frame: signed.frame.clone(),
        tasks: rules::tasks(&app.pool).await?,
        taxes: rules::taxes(&app.pool).await?,
        classes: rules::classes(&app.pool).await?,
        fetching,
        rules,
        form,
    })
}

pub(crate) async fn show(State(app): State<App>, Owner(signed): Owner) -> Result<RulesPage, Fault> {
    page(&app, &signed, None).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(rules) = Rules::read(&mut form) else {
        let page = page(&app, &signed, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
if !rules.write(conn).await? {
    return Err(Refused::stale("the rules").into());
}
let detail = serde_json::json!({
    "least_net": rules.least_net, "rounding": rules.rounding, "price_by": rules.price_by,
});
let (at, who) = (signed.now, Some(signed.person));
audit::note(conn, at, who, "changed", "price_rules", detail).await?;
Ok(PriceRules)
        })
        .await?;
    ended.or_show(page(&app, &signed, Some(form))).await
}

pub(crate) async fn add(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(what): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    if !["task", "tax", "class"].contains(&what.as_str()) {
        return Err(Fault::NotFound);
    }
    let Some(added) = Added::read(&what, &mut form) else {
        let page = page(&app, &signed, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    form.act_once(&app.pool, signed.now, async |conn| {
        added.write(conn).await?;
        Ok(PriceRules)
    })
    .await?
    .led()
}

pub(crate) async fn retire(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((what, id)): Path<(String, uuid::Uuid)>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        rules::retire(conn, &what, id, signed.now).await?;
        Ok(PriceRules)
    })
    .await?
    .led()
}

pub(crate) async fn set_address(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let url = form.line("fetch_url", 2000);
    let daily = form.ticked("fetch_daily");
    if url.is_empty() {
        if daily {
            form.wrong("fetch_url", "An address is needed for that.");
        }
    } else if let Err(why) = fetch::address(&url) {
        form.wrong("fetch_url", why);
    }
    if !form.good() {
        let page = page(&app, &signed, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    form.act_once(&app.pool, signed.now, async |conn| {
        fetch::set(conn, &url, daily).await?;
        let (at, who) = (signed.now, Some(signed.person));
        let detail = serde_json::json!({ "address": url, "daily": daily });
        audit::note(conn, at, who, "set the address of prices", "price_rules", detail).await?;
        Ok(PriceRules)
    })
    .await?
    .led()
}

/// Reads the list now. What came of it stands on the page, good or bad.
pub(crate) async fn fetch_now(State(app): State<App>, Owner(_): Owner) -> Result<Response, Fault> {
    fetch::fetch(&app.pool, &app.clock).await?;
    Ok(see_other(&PriceRules.to_string()))
}
