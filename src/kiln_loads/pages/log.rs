//! The log of a load: taken in, read by chosen columns, held against the programme, and used to
//! fit the kiln.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Multipart, Path, RawQuery, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};

use super::show::{Difference, differences};
use crate::clock::Moment;
use crate::files;
use crate::id::{KilnFitId, KilnLogId};
use crate::kiln_loads::sight::{Fitted, Sight};
use crate::kiln_loads::view::{self, LoadRow};
use crate::kiln_logs::{
    self, LogForm, LogRefusal, LogRow, MOST_BYTES, NewLog, choices_of, filled, read_form,
};
use crate::kilns::{self, NewFit, TakenFit, fits_of};
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame, Html, Refused, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "kiln_loads/log.html")]
pub(crate) struct LogPage {
    frame: Frame,
    /// The columns as chosen, with what was wrong.
    form: Form,
    /// What was wrong with a file that was sent.
    upload: Form,
    load: LoadRow,
    sight: Sight,
    line: Html,
    differences: Vec<Difference>,
    history: Vec<LogRow>,
    fits: Vec<TakenFit>,
    fitted: Option<Result<Fitted, String>>,
}

impl LogPage {
    fn place(&self) -> String {
        format!("/loads/{}/log", self.load.number)
    }

    fn choices(&self, which: &str) -> Vec<(&'static str, &'static str)> {
        choices_of(which)
    }

    /// The columns of the log by their headings.
    fn columns(&self) -> Vec<(String, String)> {
        let mut list = vec![(String::new(), "find it".to_owned())];
        for column in self.sight.log.iter().flat_map(|log| &log.columns) {
            let n = column.index + 1;
            let words = match &column.heading {
                Some(heading) => format!("{n}: {}", heading.chars().take(40).collect::<String>()),
                None => format!("column {n}"),
            };
            list.push((column.index.to_string(), words));
        }
        // A log that cannot be read has columns all the same.
        if list.len() == 1 {
            list.extend((0..8).map(|index| (index.to_string(), format!("column {}", index + 1))));
        }
        list
    }

    /// The moment of the last reading, if that is still to come.
    fn beyond(&self) -> Option<Moment> {
        self.sight.beyond(&self.load, self.frame.show.now)
    }

    /// Whether an hour is missing, or was taken out.
    fn asks_for_the_hour(&self) -> bool {
        self.sight.log.as_ref().is_some_and(|log| {
            log.row.form.hour_out || log.read.as_ref().is_ok_and(|held| held.reading.hour_missing)
        })
    }

    fn watts(&self, watts: &f64) -> Html {
        self.frame.show.number(watts / 1000.0, 2, "kW")
    }

    fn loss(&self, loss: &f64) -> Html {
        self.frame.show.number(*loss, 2, "W/K")
    }

    fn error_after(&self, fitted: &Fitted) -> Html {
        let figure = self.frame.show.number(fitted.fit.value.error_after.get(), 1, "K");
        working_of(&figure, &fitted.fit.working)
    }

    /// The fit in use.
    fn in_use(&self) -> Option<KilnFitId> {
        self.fits.iter().find(|fit| fit.dropped_at.is_none() && fit.of_this_entry).map(|fit| fit.id)
    }

    fn is_in_use(&self, fit: &TakenFit) -> bool {
        self.in_use() == Some(fit.id)
    }
}

/// What is shown again when something was refused.
#[derive(Default)]
struct Again {
    form: Option<Form>,
    upload: Form,
    fit: bool,
}

async fn page(app: &App, signed: &Signed, number: i32, again: Again) -> Result<LogPage, Fault> {
    let load = view::load(&app.pool, number).await?;
    let flasks = view::standing_in(&app.pool, load.id).await?;
    let mut sight = Sight::of(app, &load, &flasks).await?;
    let mut fitted = None;
    if again.fit {
        let (back, found) = sight.fitted().await?;
        (sight, fitted) = (back, Some(found));
    }
    let show = &signed.frame.show;
    let shown = fitted.as_ref().and_then(|fitted| fitted.as_ref().ok());
    let line = sight.chart(app, show, &load, &flasks, shown).await?.html();
    let form = again.form.unwrap_or_else(|| match &sight.log {
        Some(log) => filled(&log.row.form, &log.columns),
        None => Form::default(),
    });
    Ok(LogPage {
        frame: signed.frame.clone(),
        differences: differences(&sight, &load, show),
        history: kiln_logs::history(&app.pool, load.id).await?,
        fits: fits_of(&app.pool, load.kiln_id).await?,
        form,
        upload: again.upload,
        load,
        sight,
        line,
        fitted,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    RawQuery(query): RawQuery,
) -> Result<LogPage, Fault> {
    let asked = Form::parse(query.unwrap_or_default().as_bytes());
    page(&app, &signed, number, Again { fit: asked.ticked("fit"), ..Again::default() }).await
}

/// Reads the parts of the form: its fields, and the file with its name.
async fn receive(mut parts: Multipart) -> Result<(Form, String, Vec<u8>), LogRefusal> {
    let (mut form, mut name, mut bytes) = (Form::default(), String::new(), Vec::new());
    let cut_short = |_| LogRefusal::TooLarge;
    while let Some(part) = parts.next_field().await.map_err(cut_short)? {
        let field = part.name().unwrap_or_default().to_owned();
        if field == "log" {
            let sent = part.file_name().unwrap_or_default();
            let last = sent.rsplit(['/', '\\']).next().unwrap_or_default();
            name = last.chars().filter(|c| !c.is_control()).take(200).collect();
            bytes = part.bytes().await.map_err(cut_short)?.to_vec();
        } else {
            let text = part.bytes().await.map_err(cut_short)?;
            form.put(&field, &String::from_utf8_lossy(&text));
        }
    }
    if bytes.len() > MOST_BYTES {
        return Err(LogRefusal::TooLarge);
    }
    Ok((form, if name.is_empty() { "log.csv".to_owned() } else { name }, bytes))
}

/// How a new log is read: as the kiln's logs are, unless it is plainly of another form.
fn fitting(
    bytes: &[u8],
    remembered: Option<LogForm>,
    load: &LoadRow,
) -> Result<LogForm, LogRefusal> {
    let found = kiln_logs::read(bytes, &LogForm::default());
    let Some(remembered) = remembered else { return found.map(|_| LogForm::default()) };
    let typical = |reading: &kiln_logs::Reading| {
        kilns::as_run(&load.programme.0)
            .and_then(|programme| {
                kiln_logs::against(&reading.curve, &programme, &LogForm::default())
            })
            .map_or(f64::INFINITY, |comparison| comparison.typical.get())
    };
    match (kiln_logs::read(bytes, &remembered), found) {
        (Ok(as_before), Ok(anew)) => {
            let (before, anew) = (typical(&as_before), typical(&anew));
            let another = before > 60.0 && anew < before / 3.0;
            Ok(if another { LogForm::default() } else { remembered })
        }
        (Ok(_), Err(_)) => Ok(remembered),
        (Err(_), Ok(_)) => Ok(LogForm::default()),
        (Err(why), Err(_)) => Err(why),
    }
}

/// Whether the studio's clocks were put forward by an hour while a load may have been fired.
fn clocks_put_forward(signed: &Signed, load: &LoadRow, minutes: f64) -> bool {
    let from = load.starts().plus_minutes(-180);
    let until = load.starts().plus_minutes(minutes as i64 + 180);
    let zone = &signed.frame.show.zone;
    let before = zone.to_offset(from.0);
    zone.following(from.0)
        .take_while(|change| change.timestamp() <= until.0)
        .any(|change| change.offset().seconds() - before.seconds() == 3600)
}

/// A load that has begun, or why it cannot have a log.
async fn begun(app: &App, number: i32) -> Result<LoadRow, Fault> {
    let load = view::load(&app.pool, number).await?;
    if load.started_at.is_none() {
        return Err(Refused::conflict(format!(
            "Load {number} has not started, so there can be no log of it yet. Nothing was kept."
        ))
        .into());
    }
    Ok(load)
}

pub(crate) async fn add(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    parts: Multipart,
) -> Result<Response, Fault> {
    let load = begun(&app, number).await?;
    let kiln_form = kiln_logs::form_of_kiln(&app.pool, load.kiln_id).await?;
    let received = match receive(parts).await {
        Ok((form, name, bytes)) => {
            let load = load.clone();
            let read = tokio::task::spawn_blocking(move || {
                match fitting(&bytes, kiln_form.clone(), &load) {
                    Ok(form) => {
                        let reading = kiln_logs::read(&bytes, &form)?;
                        Ok((bytes, form, Some(reading)))
                    }
                    // It is kept, and its page asks which column is the kiln's.
                    Err(LogRefusal::WhichColumn(_)) => {
                        Ok((bytes, kiln_form.unwrap_or_default(), None))
                    }
                    Err(why) => Err(why),
                }
            });
            match read.await.map_err(|error| Fault::Unforeseen(error.into()))? {
                Ok(read) => Ok((form, name, read)),
                Err(why) => Err(why),
            }
        }
        Err(why) => Err(why),
    };
    let (mut form, name, (bytes, mut log_form, reading)) = match received {
        Ok(received) => received,
        Err(why) => {
            let mut upload = Form::default();
            upload.wrong("log", why.to_string());
            let status = match why {
                LogRefusal::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
                _ => StatusCode::UNPROCESSABLE_ENTITY,
            };
            let page = page(&app, &signed, number, Again { upload, ..Again::default() }).await?;
            return Ok((status, page).into_response());
        }
    };
    log_form.hour_out = reading.is_some_and(|reading| {
        reading.hour_missing && clocks_put_forward(&signed, &load, reading.curve.duration().get())
    });
    form.act_once(&app.pool, signed.now, async |conn| {
        let file = files::put(conn, &bytes, &name, "text/csv", signed.now).await?;
        let new = NewLog { load: load.id, file, name: &name, form: &log_form };
        kiln_logs::add(conn, &new, signed.now, signed.person).await?;
        Ok(format!("/loads/{number}/log"))
    })
    .await?
    .led()
}

/// The log that a form was made from, held; refused when another counts by now.
async fn held(
    conn: &mut sqlx::PgConnection,
    load: &LoadRow,
    seen: Option<KilnLogId>,
) -> Result<KilnLogId, Fault> {
    match (kiln_logs::lock_current(conn, load.id).await?, seen) {
        (Some(current), Some(seen)) if current == seen => Ok(current),
        _ => Err(Refused::stale(&format!("the log of load {}", load.number)).into()),
    }
}

pub(crate) async fn columns(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let load = begun(&app, number).await?;
    let seen = form.value("log").parse().ok();
    let Some(chosen) = read_form(&mut form) else {
        form.wrong("", "Nothing was changed yet: look at the messages below.");
        let again = Again { form: Some(form), ..Again::default() };
        let page = page(&app, &signed, number, again).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let log = held(conn, &load, seen).await?;
            let bytes = files::read(&app.pool, kiln_logs::file_of(conn, log).await?).await?;
            kiln_logs::read(&bytes, &chosen)
                .map_err(|why| Refused::input("", format!("{why} Nothing was changed.")))?;
            kiln_logs::read_otherwise(conn, log, &chosen).await?;
            kiln_logs::remember_for_kiln(conn, load.kiln_id, &chosen, signed.now).await?;
            Ok(format!("/loads/{number}/log"))
        })
        .await?;
    let again = Again { form: Some(form), ..Again::default() };
    ended.or_show(page(&app, &signed, number, again)).await
}

pub(crate) async fn put_back(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let load = begun(&app, number).await?;
    let Ok(log) = form.value("log").parse::<KilnLogId>() else { return Err(Fault::NotFound) };
    form.act_once(&app.pool, signed.now, async |conn| {
        kiln_logs::put_back(conn, load.id, log, signed.now).await?;
        Ok(format!("/loads/{number}/log"))
    })
    .await?
    .led()
}

pub(crate) async fn take_over(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let load = begun(&app, number).await?;
    let flasks = view::standing_in(&app.pool, load.id).await?;
    let (_, fitted) = Sight::of(&app, &load, &flasks).await?.fitted().await?;
    let seen = form.value("log").parse().ok();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let fitted = fitted.map_err(|why| Refused::input("", why))?;
            let log = held(conn, &load, seen).await?;
            let fit = &fitted.fit.value;
            let new = NewFit {
                log,
                power_w: fit.kiln.power_w,
                loss_w_k: fit.kiln.loss_w_k,
                error_before_k: fit.error_before.get(),
                error_after_k: fit.error_after.get(),
            };
            kilns::take_fit(conn, load.kiln_id, &new, signed.now, signed.person).await?;
            Ok(format!("/loads/{number}/log#fit"))
        })
        .await?;
    let again = Again { form: Some(form), ..Again::default() };
    ended.or_show(page(&app, &signed, number, again)).await
}

pub(crate) async fn drop_fit(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let load = view::load(&app.pool, number).await?;
    let Ok(fit) = form.value("fit").parse::<KilnFitId>() else { return Err(Fault::NotFound) };
    form.act_once(&app.pool, signed.now, async |conn| {
        kilns::drop_fit(conn, load.kiln_id, fit, signed.now).await?;
        Ok(format!("/loads/{number}/log#fit"))
    })
    .await?
    .led()
}

/// Sends a log as it came.
pub(crate) async fn file(
    State(app): State<App>,
    _signed: Signed,
    Path((number, log)): Path<(i32, KilnLogId)>,
    headers: HeaderMap,
) -> Result<Response, Fault> {
    let load = view::load(&app.pool, number).await?;
    let history = kiln_logs::history(&app.pool, load.id).await?;
    let row = history.iter().find(|row| row.id == log).ok_or(Fault::NotFound)?;
    let file = files::find(&app.pool, row.file_id).await?;
    Ok(files::send(&app, &file, &headers, Some(&row.file_name)))
}
