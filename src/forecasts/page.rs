//! The page: every verdict beside what became of the castings it was said of, and where the limits
//! of this studio lie.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use foundry::working::Worked;
use foundry::yields::{Limit, LimitSeen};

use super::chart::{self, Chart};
use super::margin::{Own, drawn};
use super::model::{LEAST, Verdict, What};
use super::store;
use super::view::{self, Counted, Seen, Way};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, Html, Plain, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "forecasts/show.html")]
pub(crate) struct Forecasts {
    frame: Frame,
    parts: Vec<Part>,
}

/// Filling, or feeding.
struct Part {
    what: What,
    calculated: Vec<Counted>,
    own: Vec<Counted>,
    seen: Seen,
    limits: Own,
    chart: Option<Chart>,
}

impl Part {
    /// The two tables: by the calculation, and by this studio's limits where any were in use.
    fn tables(&self) -> Vec<(&'static str, &[Counted])> {
        let mut tables = vec![("By the calculation", self.calculated.as_slice())];
        if self.own.iter().any(|row| row.tally.total() > 0 || row.open > 0) {
            tables.push(("By this studio's limits", self.own.as_slice()));
        }
        tables
    }

    /// What the castings tell, the limits as they are fitted: up to the first nine of ten come out,
    /// from the second on one of ten does.
    fn limits_seen(&self) -> Option<(&Worked<LimitSeen>, Limit, Limit)> {
        let worked = self.seen.limit.as_ref().ok()?;
        let (yes, no) = match worked.value {
            LimitSeen::Fitted(fit) => (fit.nine_of_ten, fit.one_of_ten),
            LimitSeen::Apart { good_to, bad_from } => {
                let at = |at| Limit { at, low: good_to, high: bad_from };
                (at(good_to), at(bad_from))
            }
        };
        Some((worked, yes, no))
    }

    fn apart(&self) -> bool {
        matches!(&self.seen.limit, Ok(Worked { value: LimitSeen::Apart { .. }, .. }))
    }

    /// Why nothing follows.
    fn why_not(&self) -> Option<String> {
        let why = self.seen.limit.as_ref().err()?;
        Some(format!("No limit is told yet: {why}."))
    }

    /// Where the lines are drawn now.
    fn now(&self, verdict: Verdict) -> f64 {
        let own = if verdict == Verdict::Yes { self.limits.yes } else { self.limits.no };
        own.unwrap_or(drawn(self.what, verdict))
    }

    /// In what the limit is measured.
    const fn measure(&self) -> &'static str {
        match self.what {
            What::Fill => {
                "0 is the shortest way that the metal may run before it freezes, 1 the longest; the figure is where between them, by ratios, the way lies that it must run. How far it truly runs hangs on friction and on the heat that passes to the mould, which the calculation cannot know and these castings tell."
            }
            What::Feed => {
                "The figure is the diameter of a ball as large as the voids that the calculation expects, with the usual values of metal and mould; 0 where it expects none."
            }
        }
    }
}

impl Forecasts {
    fn empty(&self) -> bool {
        let none = |row: &Counted| row.tally.total() == 0 && row.open == 0;
        self.parts.iter().all(|part| part.calculated.iter().all(none))
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

    fn margin(&self, part: &Part, margin: impl Plain<f64>) -> Html {
        let unit = if part.what == What::Feed { "mm" } else { "" };
        self.frame.show.number(margin, 2, unit)
    }

    fn worked(&self, part: &Part, limit: &Limit, worked: &Worked<LimitSeen>) -> Html {
        working_of(&self.margin(part, limit.at), &worked.working)
    }
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<Forecasts, Fault> {
    let mut conn = app.pool.acquire().await?;
    let mut calculated = view::counted(&mut conn, Way::Calculated).await?;
    let mut own = view::counted(&mut conn, Way::Own).await?;
    let limits = store::limits(&mut conn).await?;
    let mut parts = Vec::with_capacity(What::ALL.len());
    for what in What::ALL {
        let seen = view::seen(&mut conn, what).await?;
        let of = |rows: &mut Vec<Counted>| rows.extract_if(.., |row| row.what == what).collect();
        parts.push(Part {
            what,
            calculated: of(&mut calculated),
            own: of(&mut own),
            limits: limits.of(what),
            chart: chart::of(&seen),
            seen,
        });
    }
    Ok(Forecasts { frame: signed.frame, parts })
}
