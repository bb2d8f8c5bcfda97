//! One plate: its drawing, what it takes, and the one next thing to do with it.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::Response;
use sqlx::PgConnection;

use crate::findings::{self, FindingRow};
use crate::id::AttemptId;
use crate::losses;
use crate::people::Signed;
use crate::pieces::{self, Stage};
use crate::plates::model::{self, CLEARANCE_MM, PLACES, PlateState, Reckoning};
use crate::plates::view::{self, Drawn, OnPlate, PlateRow, Waiting};
use crate::plates::{Plate, Plates, actions};
use crate::prices::DayPrice;
use crate::printers::{self, LotChoice, PrinterRow, ProfileRow};
use crate::steps;
use crate::timers::{self, Timer};
use crate::trials::{self, DrawnPiece};
use crate::web::{App, Fault, Form, Frame, Html, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "plates/show.html")]
pub(crate) struct ShowPlate {
    pub(super) frame: Frame,
    plate: PlateRow,
    /// On the plate now, or when it ended.
    pieces: Vec<OnPlate>,
    /// Taken off before.
    off: Vec<OnPlate>,
    drawn: Vec<Drawn>,
    reckoned: Reckoning,
    timers: Vec<Timer>,
    causes: Vec<String>,
    waiting: Vec<Waiting>,
    rows: i64,
    printers: Vec<PrinterRow>,
    lots: Vec<LotChoice>,
    profiles: Vec<ProfileRow>,
    found: Vec<FindingRow>,
    form: Form,
    drawn_by_lot: Vec<DrawnPiece>,
    steps: Html,
    /// What failed on it, with what that costs.
    losses: Html,
    price: Option<Result<DayPrice, String>>,
}

impl ShowPlate {
    /// Whether its pieces have just come off, so that curing them is what comes next.
    fn leads_on(&self) -> bool {
        let now = self.frame.show.now;
        self.plate.state == PlateState::Done
            && self.plate.ended_at.is_some_and(|at| now.minutes_since(at) < 24 * 60)
    }

    /// How a piece was drawn for a trial that is under way.
    fn drawn_for(&self, attempt: &AttemptId) -> Option<&DrawnPiece> {
        self.drawn_by_lot.iter().find(|drawn| drawn.attempt == *attempt)
    }

    fn run_time(&self) -> Option<Html> {
        let run = self.reckoned.run.as_ref()?;
        let minutes = run.value.duration.get().round() as i64;
        Some(working_of(&self.frame.show.minutes(minutes), &run.working))
    }

    fn layers(&self) -> Option<u32> {
        self.reckoned.run.as_ref().map(|run| run.value.layers)
    }

    fn resin(&self) -> Option<Html> {
        let resin = self.reckoned.resin.as_ref()?;
        let ml = resin.value.cubic_centimetres();
        Some(working_of(&self.frame.show.number(ml, 1, "ml"), &resin.working))
    }

    fn resin_cost(&self) -> Option<Html> {
        // What things cost is the owner's to see.
        let price = self.price.as_ref().filter(|_| self.frame.owner())?.as_ref().ok()?;
        let cost = super::propose::cost_of(self.reckoned.resin_ml()?, price)?;
        Some(self.frame.show.money(cost))
    }

    /// Where a piece stands and how it is turned, for whoever slices the plate.
    fn corner(&self, piece: &OnPlate) -> Option<String> {
        let (x, y) = piece.corner_mm()?;
        let corner = format!("at {x:.1}, {y:.1} mm");
        Some(piece.stance().map_or_else(|| corner.clone(), |stance| format!("{corner}, {stance}")))
    }

    fn too_little_resin(&self) -> bool {
        self.reckoned.resin_ml().is_some_and(|ml| ml > self.plate.lot_left_ml)
    }

    fn estimate(&self) -> Option<Html> {
        let minutes = self.plate.estimated_min?.round() as i64;
        Some(self.frame.show.minutes(minutes))
    }

    fn took(&self) -> Option<Html> {
        let minutes = self.plate.ended_at?.minutes_since(self.plate.started_at?);
        Some(self.frame.show.minutes(minutes))
    }

    fn printer_options(&self) -> Vec<(String, String)> {
        super::new::printer_options(&self.printers)
    }

    fn lot_options(&self) -> Vec<(String, String)> {
        super::new::lot_options(&self.lots)
    }

    fn profile_options(&self) -> Vec<(String, String)> {
        super::new::profile_options(&self.profiles)
    }

    /// What was found on a piece as it came off.
    fn found_on(&self, attempt: &AttemptId) -> Vec<String> {
        let its = self.found.iter().filter(|found| found.attempt_id == *attempt);
        its.map(FindingRow::words).collect()
    }

    fn where_typed(&self, attempt: &AttemptId) -> &str {
        self.form.value(&format!("where-{attempt}"))
    }

    fn picked(&self, attempt: &AttemptId) -> bool {
        self.is_ticked("pieces", attempt)
    }

    fn is_ticked(&self, name: &str, attempt: &AttemptId) -> bool {
        let attempt = attempt.to_string();
        self.form.all(name).any(|ticked| ticked == attempt)
    }

    fn cause_typed(&self, attempt: &AttemptId) -> &str {
        self.form.value(&format!("cause-{attempt}"))
    }
}

/// Makes the page; a form that was refused is shown with what was typed in it.
pub(super) async fn page(
    app: &App,
    signed: &Signed,
    number: i32,
    back: Option<Form>,
) -> Result<ShowPlate, Fault> {
    let plate = view::load(&app.pool, number).await?;
    let all = view::pieces_of(&app.pool, &plate).await?;
    let drawn = view::drawing(&plate, &all);
    let (pieces, off): (Vec<_>, Vec<_>) = all
        .into_iter()
        .partition(|piece| piece.left_at.is_none() || piece.left_at == plate.ended_at);
    let models: Vec<_> = pieces.iter().map(OnPlate::model).collect();
    let reckoned = model::reckon(&plate.setting(), &models);
    let timers = timers::of(&app.pool, &actions::batch(number)).await?;
    let causes = if plate.is_printing() {
        pieces::causes(&app.pool, Stage::Print).await?
    } else {
        Vec::new()
    };
    let (mut waiting, mut rows, mut printers, mut lots) = (Vec::new(), 0, Vec::new(), Vec::new());
    let mut profiles = Vec::new();
    if plate.is_open() {
        (waiting, rows) = view::waiting(&app.pool).await?;
        printers = printers::printers_in_use(&app.pool).await?;
        lots = printers::lots_in_use(&app.pool).await?;
        profiles = printers::profiles_in_use(&app.pool).await?;
    }
    let attempts: Vec<AttemptId> = pieces.iter().map(|piece| piece.attempt).collect();
    let mut found = findings::of_attempts(&app.pool, &attempts).await?;
    found.retain(|found| found.stage == Stage::Print);
    let drawn_by_lot = if plate.is_open() {
        trials::drawn(&app.pool, trials::Setting::Supports).await?
    } else {
        Vec::new()
    };
    let batch = [actions::batch(number)];
    let losses = losses::of_batches(&app.pool, &signed.frame, &batch, &[Stage::Print]).await?;
    let price = super::propose::price_of(app, signed, plate.resin_lot_id).await?;
    let mut form = back.unwrap_or_default();
    // A form about something else leaves the settings as they are.
    if form.all("printer").next().is_none() {
        form.put("printer", &plate.printer_id.to_string());
        form.put("lot", &plate.resin_lot_id.to_string());
        form.put("layer", &plate.layer_um.to_string());
        form.put("exposure", &plate.exposure_s.to_string());
        form.put("profile", &plate.profile_id.map(|id| id.to_string()).unwrap_or_default());
        form.put("supports", &plate.supports);
        form.put("first_contact", if plate.first_contact { "yes" } else { "" });
        form.put("orientation", &plate.orientation);
        form.put("note", &plate.note);
        if plate.any_side {
            form.put("any_side", "yes");
        }
    }
    Ok(ShowPlate {
        frame: signed.frame.clone(),
        plate,
        pieces,
        off,
        drawn,
        reckoned,
        timers,
        causes,
        waiting,
        rows,
        printers,
        lots,
        profiles,
        found,
        form,
        drawn_by_lot,
        steps: steps::panel(&app.pool, &signed.frame, Stage::Print, number).await?,
        losses,
        price,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<ShowPlate, Fault> {
    page(&app, &signed, number, None).await
}

/// Does one thing to a plate, once; a refusal stands above the plate as it is.
pub(super) async fn step(
    app: &App,
    signed: &Signed,
    number: i32,
    mut form: Form,
    act: impl AsyncFnOnce(&mut PgConnection, i64) -> Result<(), Fault>,
) -> Result<Response, Fault> {
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            act(conn, seen).await.map_err(|fault| fault.at(""))?;
            Ok(Plate(number))
        })
        .await?;
    ended.or_show(page(app, signed, number, Some(form))).await
}
