//! Pricing an order: everything that can be turned, and what comes of it, before anything is kept.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};

use crate::orders::{self, LineRow, Order, OrderRow, Orders};
use crate::people::{Owner, Signed};
use crate::promises::{self, Asked, Outlook};
use crate::quotes::bought::{APART, MOST_BOUGHT};
use crate::quotes::content::Content;
use crate::quotes::defaults::{Shop, defaults};
use crate::quotes::inputs::{Inputs, MOST_OPTIONS, MOST_TASKS, tax_field};
use crate::quotes::missing::Missing;
use crate::quotes::paths::Quote;
use crate::quotes::reckon::reckon;
use crate::quotes::sure::{self, Sure};
use crate::quotes::{PriceOrder, Quotes, abroad, actions, view};
use crate::studio::Settings;
use crate::web::{App, Fault, Form, Frame, Html, working_of};
use foundry::yields::chance_of_enough;
use rust_decimal::Decimal;

#[derive(Template, WebTemplate)]
#[template(path = "quotes/price.html")]
pub(crate) struct PricePage {
    frame: Frame,
    order: OrderRow,
    form: Form,
    content: Option<Content>,
    outlook: Option<Outlook>,
    missing: Vec<Missing>,
    currency: String,
    resins: Vec<(String, String)>,
    printers: Vec<(String, String)>,
    investments: Vec<(String, String)>,
    kilns: Vec<(String, String)>,
    alloys: Vec<(String, String)>,
    tasks: Vec<(String, String)>,
    taxes: Vec<(String, String)>,
    line_taxes: Vec<(String, String)>,
    lines: Vec<LineRow>,
    /// What something bought in can belong to.
    bought_lines: Vec<(String, String)>,
    chances: Vec<Chance>,
    known: (i64, i64),
    /// How far the last orders came out from their quotes.
    sure: Option<Sure>,
    /// How many fields need a look.
    wrong: usize,
}

/// How likely so many spares are enough for a line.
struct Chance {
    spares: u32,
    percent: f64,
    working: foundry::working::Working,
}

impl PricePage {
    fn option_fields(&self) -> Vec<(String, String, String)> {
        (0..MOST_OPTIONS)
            .map(|at| {
                (
                    format!("option{at}_name"),
                    format!("option{at}_alloy"),
                    format!("option{at}_finish"),
                )
            })
            .collect()
    }

    fn task_fields(&self) -> Vec<(String, String, String)> {
        (0..MOST_TASKS)
            .map(|at| (format!("task{at}"), format!("task{at}_minutes"), format!("task{at}_per")))
            .collect()
    }

    /// The rows of what is bought in, and whether those from here on are folded away.
    fn bought_fields(&self) -> Vec<(String, String, String, String, bool)> {
        (0..MOST_BOUGHT)
            .map(|at| {
                let [name, amount, line, per] =
                    ["name", "amount", "line", "per"].map(|part| format!("bought{at}_{part}"));
                (name, amount, line, per, at == self.first_folded())
            })
            .collect()
    }

    fn any_folded(&self) -> bool {
        self.first_folded() < MOST_BOUGHT
    }

    /// The first row after the first empty one.
    fn first_folded(&self) -> usize {
        let typed = |at: &usize| {
            ["name", "amount"]
                .iter()
                .any(|part| !matches!(self.form.value(&format!("bought{at}_{part}")), "" | "0"))
        };
        (0..MOST_BOUGHT).rfind(typed).map_or(1, |last| last + 2)
    }

    fn wrong_fields(&self) -> Vec<(String, &'static str, String)> {
        wrong_fields(&self.form)
    }

    fn tax_field(&self, line: &LineRow) -> String {
        tax_field(line.n)
    }

    fn any_line_tax(&self) -> bool {
        self.lines.iter().any(|line| !self.form.value(&tax_field(line.n)).is_empty())
    }

    fn rate_label(&self) -> String {
        format!("One {} buys", self.currency)
    }

    /// The rate as it stands on the page, with its currency.
    fn rate_shown(&self) -> String {
        let currency = self.form.value("currency").trim().to_uppercase();
        format!("{currency} {}", self.form.value("rate").trim())
    }

    /// Whether it has to be asked if another currency than before is meant.
    fn asks_currency(&self) -> bool {
        self.form.error("other_currency").is_some() || self.form.ticked("other_currency")
    }

    fn own(&self, line: &LineRow) -> bool {
        let n = line.n.to_string();
        self.form.all("own_line").any(|ticked| ticked == n)
    }

    fn chance(&self, chance: &Chance) -> Html {
        working_of(&self.frame.show.number(chance.percent, 0, "%"), &chance.working)
    }
}

/// Fields with what they are called and what is wrong with them.
fn wrong_fields(form: &Form) -> Vec<(String, &'static str, String)> {
    let at_fields = form.errors().filter(|(field, _)| !field.is_empty());
    at_fields
        .map(|(field, message)| (field.to_owned(), label_of(field), message.to_owned()))
        .collect()
}

/// What a field is called where it is told of apart from its place.
fn label_of(field: &str) -> &'static str {
    match field {
        "margin_percent" => "Margin",
        "discount_percent" => "Discount",
        "overhead_percent" => "Overhead",
        "deposit_percent" => "Deposit",
        "bench_minutes" => "Bench",
        "set_up_minutes" => "Set-up",
        "spares" => "Spares",
        "metal_loss_percent" => "Metal lost",
        "supports_percent" => "Supports",
        "pieces_on_plate" => "Shares a plate with",
        "powder_kg" => "Powder for a flask",
        "pieces_in_flask" => "Shares a flask with",
        "kiln_kwh" => "Energy of a load",
        "kiln_hours" => "Hours of a load",
        "gas_kg" => "Gas of a load",
        "flasks_in_load" => "Shares a load with",
        "valid_days" => "Holds for",
        "ready_by" => "Ready by",
        "message" => "Message",
        "currency" | "rate" | "rate_on" => "Another currency",
        other if other.starts_with("bought") => "Bought in",
        other if other.starts_with("option") => "Other ways",
        other if other.starts_with("task") => "Work by task",
        _ => "",
    }
}

/// What the page needs beside the price: the order's lines, and what spares are good for.
struct Beside {
    lines: Vec<LineRow>,
    chances: Vec<Chance>,
    known: (i64, i64),
    sure: Option<Sure>,
}

impl Beside {
    async fn load(app: &App, order: &OrderRow) -> Result<Self, Fault> {
        let lines = orders::lines(&app.pool, order.id).await?;
        let alloys: Vec<_> = lines.iter().map(|line| line.alloy_id).collect();
        let known = view::yield_of(&app.pool, &alloys).await?;
        let all = known.0 + known.1;
        let needed = lines.iter().map(|line| line.quantity).max().unwrap_or(0);
        let needed = u32::try_from(needed).unwrap_or(0);
        let mut chances = Vec::new();
        // From fewer attempts nothing is claimed.
        if all >= 10 && needed > 0 {
            let good = known.0 as f64 / all as f64;
            for spares in 0..=4 {
                let Ok(worked) = chance_of_enough(needed, needed + spares, good) else { break };
                let percent = worked.value * 100.0;
                chances.push(Chance { spares, percent, working: worked.working });
            }
        }
        let sure = sure::of_past(&app.pool).await?;
        Ok(Self { lines, chances, known, sure })
    }
}

fn choices<I: ToString>(things: impl Iterator<Item = (I, String)>) -> Vec<(String, String)> {
    let mut list = vec![(String::new(), "Not charged".to_owned())];
    list.extend(things.map(|(id, name)| (id.to_string(), name)));
    list
}

async fn page(
    app: &App,
    signed: &Signed,
    order: OrderRow,
    (shop, settings): (&Shop, &Settings),
    form: Form,
    outcome: Option<Result<Content, Vec<Missing>>>,
    outlook: Option<Outlook>,
) -> Result<PricePage, Fault> {
    let beside = Beside::load(app, &order).await?;
    let (content, missing) = match outcome {
        Some(Ok(content)) => (Some(content), Vec::new()),
        Some(Err(missing)) => (None, missing),
        None => (None, Vec::new()),
    };
    let mut alloys = vec![(String::new(), "as asked".to_owned())];
    alloys.extend(shop.alloys.iter().map(|alloy| (alloy.id.to_string(), alloy.name.clone())));
    let mut tasks = vec![(String::new(), "none".to_owned())];
    tasks.extend(shop.tasks.iter().map(|task| (task.id.to_string(), task.name.clone())));
    let percent = |rate: Decimal| (rate * Decimal::ONE_HUNDRED).normalize();
    let own_tax = format!("{} {} %", settings.tax_name, percent(settings.tax_rate));
    let mut taxes = vec![(String::new(), own_tax)];
    taxes.extend(
        shop.taxes
            .iter()
            .map(|tax| (tax.id.to_string(), format!("{} {} %", tax.name, percent(tax.rate)))),
    );
    let mut line_taxes = vec![(String::new(), "as the quote".to_owned())];
    line_taxes.extend(taxes.iter().skip(1).cloned());
    let mut bought_lines: Vec<_> = beside
        .lines
        .iter()
        .map(|line| (line.n.to_string(), format!("{} × {}", line.quantity, line.design)))
        .collect();
    if bought_lines.len() > 1 {
        bought_lines.insert(0, (String::new(), "choose".to_owned()));
    }
    bought_lines.push((APART.to_owned(), "a line of its own".to_owned()));
    Ok(PricePage {
        bought_lines,
        wrong: wrong_fields(&form).len(),
        line_taxes,
        tasks,
        taxes,
        alloys,
        lines: beside.lines,
        chances: beside.chances,
        known: beside.known,
        sure: beside.sure,
        frame: signed.frame.clone(),
        order,
        form,
        content,
        outlook,
        missing,
        currency: settings.currency.clone(),
        resins: choices(shop.resins.iter().cloned()),
        printers: choices(shop.printers.iter().map(|p| (p.id, p.name.clone()))),
        investments: choices(shop.investments.iter().map(|i| (i.id, i.name.clone()))),
        kilns: choices(shop.kilns.iter().map(|k| (k.id, k.name.clone()))),
    })
}

/// What comes of a number that is being turned: the priced lines and nothing around them.
#[derive(Template, WebTemplate)]
#[template(
    source = "<div id=\"priced\">{% include \"quotes/priced.html\" %}</div><div id=\"priced-lines\">{% include \"quotes/priced_lines.html\" %}</div>",
    ext = "html"
)]
struct Turned {
    frame: Frame,
    content: Content,
    sure: Option<Sure>,
}

/// What every price starts from, asked for at the same time.
async fn read(app: &App, number: i32) -> Result<(OrderRow, Shop, Settings), Fault> {
    let pool = &app.pool;
    Ok(tokio::try_join!(orders::load(pool, number), Shop::load(pool), Settings::load(pool))?)
}

/// The same when numbers cannot be read: which, and why.
#[derive(Template, WebTemplate)]
#[template(
    source = "<div id=\"priced\">{% include \"quotes/unworked.html\" %}</div>",
    ext = "html"
)]
struct Unworked {
    form: Form,
    wrong: usize,
}

impl Unworked {
    fn wrong_fields(&self) -> Vec<(String, &'static str, String)> {
        wrong_fields(&self.form)
    }
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
) -> Result<PricePage, Fault> {
    let (order, shop, settings) = read(&app, number).await?;
    // What was turned last time stays turned.
    let inputs = match view::newest(&app.pool, order.id).await? {
        Some(quote) => quote.content.0.inputs,
        None => defaults(&app.pool, &shop, &settings, order.client_id).await?,
    };
    let today = signed.now.day_in(&signed.frame.show.zone);
    let form = inputs.form();
    let outlook = when(&app, &signed, &order, &inputs).await?;
    let outcome = reckon(&app.pool, &order, &shop, &settings, inputs, today).await?;
    page(&app, &signed, order, (&shop, &settings), form, Some(outcome), Some(outlook)).await
}

/// When the order would be ready if the client said yes now.
async fn when(
    app: &App,
    signed: &Signed,
    order: &OrderRow,
    inputs: &Inputs,
) -> Result<Outlook, Fault> {
    let asked = Asked { day: inputs.ready_by, spares: inputs.spares, hurried: true };
    promises::reckon(&app.pool, order.id, signed.now, asked).await
}

pub(crate) async fn preview(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    headers: HeaderMap,
    mut form: Form,
) -> Result<Response, Fault> {
    let (order, shop, settings) = read(&app, number).await?;
    let today = signed.now.day_in(&signed.frame.show.zone);
    let taken = form.value("take").to_owned();
    if !taken.is_empty() {
        form.set("ready_by", &taken);
    }
    abroad::fill_rate(&app.pool, &mut form, &settings.currency, today).await?;
    let turning = headers.contains_key("x-turning");
    let Some(inputs) = Inputs::read(&mut form, today, &settings.currency) else {
        let status = StatusCode::UNPROCESSABLE_ENTITY;
        if turning {
            let wrong = wrong_fields(&form).len();
            return Ok((status, Unworked { form, wrong }).into_response());
        }
        let page = page(&app, &signed, order, (&shop, &settings), form, None, None).await?;
        return Ok((status, page).into_response());
    };
    // A slider asks many times, for the price alone.
    if turning {
        let outcome = reckon(&app.pool, &order, &shop, &settings, inputs, today).await?;
        return Ok(match outcome {
            Ok(content) => {
                let sure = Sure::read(form.value("past"));
                Turned { frame: signed.frame, content, sure }.into_response()
            }
            missing => {
                let shop = (&shop, &settings);
                page(&app, &signed, order, shop, form, Some(missing), None).await?.into_response()
            }
        });
    }
    let outlook = Some(when(&app, &signed, &order, &inputs).await?);
    let outcome = reckon(&app.pool, &order, &shop, &settings, inputs, today).await?;
    let shop = (&shop, &settings);
    let page = page(&app, &signed, order, shop, form, Some(outcome), outlook).await?;
    Ok(page.into_response())
}

pub(crate) async fn save(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let (order, shop, settings) = read(&app, number).await?;
    let today = signed.now.day_in(&signed.frame.show.zone);
    abroad::fill_rate(&app.pool, &mut form, &settings.currency, today).await?;
    let Some(inputs) = Inputs::read(&mut form, today, &settings.currency) else {
        let page = page(&app, &signed, order, (&shop, &settings), form, None, None).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let outcome = reckon(&app.pool, &order, &shop, &settings, inputs, today).await?;
    let content = match outcome {
        Ok(content) => content,
        missing => {
            let page =
                page(&app, &signed, order, (&shop, &settings), form, Some(missing), None).await?;
            return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
        }
    };
    let (seen, meant) = (form.version(), form.ticked("other_currency"));
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let n = actions::save_draft(conn, &signed, number, &content, (seen, meant)).await?;
            Ok(Quote(number, n))
        })
        .await?;
    ended
        .or_show(async {
            let order = orders::load(&app.pool, number).await?;
            page(&app, &signed, order, (&shop, &settings), form, Some(Ok(content)), None).await
        })
        .await
}
