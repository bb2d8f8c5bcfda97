//! One flask, with the next thing to do in front.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};

use crate::clock::Moment;
use crate::findings::{self, FindingRow};
use crate::flasks::actions;
use crate::flasks::arrange::{ATTACH, HEAVY, SPRUES};
use crate::flasks::map::{OnTree, TreeMap};
use crate::flasks::model::{FlaskState, WorkedOut};
use crate::flasks::view::{self, FlaskRow, TreeRow, WaitingPiece};
use crate::losses;
use crate::people::Signed;
use crate::pieces::Stage;
use crate::steps;
use crate::web::{App, Fault, Form, Frame, Html, working, working_of};

/// A step of the mixing clock with its times of day.
pub(crate) struct Step {
    name: String,
    begins: Moment,
    ends: Moment,
    passed: bool,
    now: bool,
}

/// A tier of the tree: its places in order, as drawn on the unrolled map.
pub(crate) struct Tier {
    n: i32,
    pieces: Vec<TreeRow>,
}

#[derive(Template, WebTemplate)]
#[template(path = "flasks/show.html")]
pub(crate) struct ShowFlask {
    pub(super) frame: Frame,
    pub(super) form: Form,
    pub(super) flask: FlaskRow,
    pub(super) tiers: Vec<Tier>,
    pub(super) count: usize,
    pub(super) waiting: Vec<WaitingPiece>,
    pub(super) steps: Vec<Step>,
    pub(super) causes: Vec<(String, String)>,
    pub(super) now: Moment,
    pub(super) sheet: Html,
    /// Where the program put what hangs on the tree.
    pub(super) map: Option<TreeMap>,
    /// Pieces placed by hand, so not on the map.
    pub(super) by_hand: Vec<String>,
    /// What the arranged tree comes to until it is weighed.
    pub(super) computed: Option<WorkedOut>,
    /// Flasks a piece may move to.
    pub(super) siblings: Vec<i32>,
    /// What is to be mended before the pieces are sprued.
    pub(super) to_mend: Vec<FindingRow>,
    /// What failed in it, with what that costs.
    pub(super) losses: Html,
}

impl ShowFlask {
    fn path(&self) -> String {
        format!("/flasks/{}", self.flask.number)
    }

    fn is(&self, state: &str) -> bool {
        self.flask.state.name() == state
    }

    fn open_tree(&self) -> bool {
        matches!(self.flask.state, FlaskState::Treeing | FlaskState::Weighed)
    }

    fn can_be_lost(&self) -> bool {
        self.flask.state.stage_if_lost().is_some()
    }

    fn charge(&self) -> Option<Html> {
        let grams = self.flask.charge_g?;
        Some(working(&self.frame.show.grams(grams), &self.flask.charge_working()))
    }

    fn powder(&self) -> Option<Html> {
        let grams = self.flask.powder_g?;
        Some(working(&self.frame.show.bulk_grams(grams), &self.flask.investment_working()))
    }

    fn computed_charge(&self) -> Option<Html> {
        let out = self.computed.as_ref()?;
        let grams = out.charge.total.to_grams().get();
        Some(working_of(&self.frame.show.grams(grams), &out.charge_working))
    }

    fn computed_powder(&self) -> Option<Html> {
        let out = self.computed.as_ref()?;
        Some(working_of(&self.frame.show.bulk_grams(out.powder.get()), &out.investment_working))
    }

    fn computed_water(&self) -> Option<Html> {
        Some(self.frame.show.bulk_grams(self.computed.as_ref()?.water.get()))
    }

    fn charged(&self) -> Html {
        let of = [self.flask.fresh_cg, self.flask.returns_cg, self.flask.own_cg];
        self.frame.show.centigrams(of.into_iter().flatten().sum::<i64>())
    }

    /// Whether what came back is about the weights of the pour.
    fn corrects(&self) -> bool {
        self.form.ticked("correcting")
    }

    fn had_own(&self) -> bool {
        self.flask.own_cg.is_some_and(|cg| cg > 0)
    }

    fn set_passed(&self) -> bool {
        self.flask.set_from_at.is_some_and(|at| at <= self.now)
    }

    fn too_late(&self) -> bool {
        self.flask.latest_start_at.is_some_and(|at| at < self.now)
    }
}

/// The tree map, and the labels of pieces that are not on it because they were placed by hand.
pub(super) fn drawn(flask: &FlaskRow, tree: &[TreeRow]) -> (Option<TreeMap>, Vec<String>) {
    let by_hand = tree.iter().filter(|piece| piece.hung().is_none());
    let by_hand = by_hand.map(|piece| piece.label.clone()).collect();
    let Some(arranged) = flask.arranged() else { return (None, by_hand) };
    let hung: Vec<_> = tree
        .iter()
        .filter_map(|piece| {
            let hung = piece.hung()?;
            Some(OnTree { label: &piece.label, tier: piece.tier, place: piece.place, hung })
        })
        .collect();
    ((!hung.is_empty()).then(|| TreeMap::draw(&arranged, &hung)), by_hand)
}

pub(crate) async fn page(
    app: &App,
    signed: &Signed,
    number: i32,
    form: Option<Form>,
) -> Result<ShowFlask, Fault> {
    let flask = view::load(&app.pool, number).await?;
    let tree = view::tree(&app.pool, flask.id).await?;
    let count = tree.len();
    let (map, by_hand) = drawn(&flask, &tree);
    let density = view::pattern_density(&app.pool, flask.id).await?;
    let computed = match flask.charge_g {
        Some(_) => None,
        None => actions::computed(&app.pool, &flask, &tree, density.unwrap_or(1.15)).await?,
    };
    let attempts: Vec<_> = tree.iter().map(|piece| piece.attempt_id).collect();
    let mut to_mend = findings::of_attempts(&app.pool, &attempts).await?;
    to_mend.retain(FindingRow::is_open);
    let mut tiers: Vec<Tier> = Vec::new();
    for piece in tree {
        match tiers.last_mut() {
            Some(tier) if tier.n == piece.tier => tier.pieces.push(piece),
            _ => tiers.push(Tier { n: piece.tier, pieces: vec![piece] }),
        }
    }
    let open = matches!(flask.state, FlaskState::Treeing | FlaskState::Weighed);
    let waiting =
        if open { view::waiting_pieces(&app.pool, flask.alloy_id).await? } else { Vec::new() };
    let mut form = form.unwrap_or_else(|| {
        let text = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
        Form::filled([
            ("base_mass_g", text(flask.base_mass_g)),
            ("tree_mass_g", text(flask.tree_mass_g)),
            (
                "pattern_density",
                density.map_or_else(|| "1.15".to_owned(), |value| value.to_string()),
            ),
            ("collar_mm", actions::USUAL_COLLAR_MM.to_string()),
            ("slurry_c", "22".to_owned()),
        ])
    });
    for (name, cg) in [
        ("was_fresh_g", flask.fresh_cg),
        ("was_returns_g", flask.returns_cg),
        ("was_own_g", flask.own_cg),
    ] {
        if let Some(cg) = cg.filter(|_| form.value(name).is_empty()) {
            form.set(name, &format!("{}.{:02}", cg / 100, cg % 100));
        }
    }
    let wish = flask.arranged().map(|tree| tree.wish).unwrap_or_default();
    wish.fill(&mut form);
    let siblings = if open { view::siblings(&app.pool, &flask).await? } else { Vec::new() };
    let started = flask.mix_started_at.unwrap_or(signed.now);
    let steps = flask
        .mix_steps()
        .into_iter()
        .map(|step| {
            let begins = started.plus_seconds((step.start_min * 60.0).round() as i64);
            let ends = started.plus_seconds((step.end_min * 60.0).round() as i64);
            let passed = ends <= signed.now;
            Step { name: step.name, begins, ends, passed, now: !passed && begins <= signed.now }
        })
        .collect();
    let stage = flask.state.stage_if_lost().unwrap_or(Stage::Invest);
    let causes = view::causes(&app.pool, stage).await?;
    // What is done to it until it is fired belongs to invest, afterwards to cast.
    let sheet_of = match flask.state {
        FlaskState::Hot | FlaskState::Poured | FlaskState::Divested => Stage::Cast,
        _ => Stage::Invest,
    };
    let stages = [Stage::Invest, Stage::Burnout, Stage::Cast];
    let batch = [format!("flask:{number}")];
    let losses = losses::of_batches(&app.pool, &signed.frame, &batch, &stages).await?;
    let sheet = steps::panel(&app.pool, &signed.frame, sheet_of, number).await?;
    Ok(ShowFlask {
        frame: signed.frame.clone(),
        form,
        flask,
        tiers,
        count,
        waiting,
        steps,
        causes,
        now: signed.now,
        sheet,
        map,
        by_hand,
        computed,
        siblings,
        to_mend,
        losses,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<ShowFlask, Fault> {
    page(&app, &signed, number, None).await
}
