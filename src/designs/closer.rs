//! The closer look at a version, put together for its page: what the analyses found, what is
//! still being worked on, and what it means for the casting.

use foundry::fill::Verdict;
use serde_json::json;
use sqlx::PgPool;

use super::store;
use crate::analysis::{
    self, CastAlloy, Casting, FeedCase, FeedFound, Filling, Found, LookCase, LookFound, Scale,
    Stage,
};
use crate::forecasts::{self, Limits, Said, What};
use crate::id::{AlloyId, DesignVersionId};
use crate::json::feed::{FeedJson, SprueJson};
use crate::web::{Fault, Html, Show, working_of};

/// Walls are felt with this limit as long as nobody has said how the model is cast.
const USUAL_LIMIT_MM: f64 = 0.8;

/// What is asked about a version.
pub(super) struct Questions {
    pub(super) look: LookCase,
    pub(super) feed: Option<FeedCase>,
    pub(super) casting: Option<(Casting, i64)>,
    pub(super) alloy: Option<CastAlloy>,
}

/// The questions about a version; none as long as nobody knows its unit.
pub(super) async fn questions(
    conn: &mut sqlx::PgConnection,
    version: DesignVersionId,
) -> Result<Option<Questions>, Fault> {
    let Some(model) = store::model_of(conn, version).await? else { return Ok(None) };
    let casting = store::casting(conn, version).await?;
    let alloy = match &casting {
        Some((casting, _)) => analysis::alloy_of(&mut *conn, casting.alloy).await?,
        None => None,
    };
    let limit_mm = casting.as_ref().map_or(USUAL_LIMIT_MM, |(casting, _)| casting.limit_mm);
    let feed = casting
        .as_ref()
        .zip(alloy.clone())
        .map(|((casting, _), alloy)| FeedCase::of(model.clone(), alloy, casting));
    Ok(Some(Questions { look: LookCase { model, limit_mm }, feed, casting, alloy }))
}

/// What is forecast of castings of a version in an alloy; nothing when it is said to be cast in
/// another one, or was never looked at.
pub async fn said_of(
    conn: &mut sqlx::PgConnection,
    version: DesignVersionId,
    alloy: AlloyId,
) -> Result<Vec<Said>, Fault> {
    let box_mm = store::box_of(conn, version).await?;
    let closer = Closer::read_in(conn, version, box_mm).await?;
    let of_it = closer.filter(|closer| closer.alloy.as_ref().is_some_and(|its| its.id == alloy));
    Ok(of_it.map(|closer| closer.said()).unwrap_or_default())
}

/// So many times the way there is to run is far.
const FAR: f64 = 5.0;

/// The closer look, as the page shows it.
pub(crate) struct Closer {
    pub(super) casting: Option<(Casting, i64)>,
    pub(super) alloy: Option<CastAlloy>,
    pub(super) look: Found<LookFound>,
    pub(super) first: Found<FeedFound>,
    pub(super) advice: Found<FeedFound>,
    pub(super) fine: Found<FeedFound>,
    pub(super) filling: Option<Result<Filling, String>>,
    /// This studio's limits, by which verdicts are given where they were taken over.
    pub(super) limits: Limits,
}

impl Closer {
    /// Reads what there is about a version; none as long as nobody knows its unit.
    pub(super) async fn read(
        pool: &PgPool,
        version: DesignVersionId,
        box_mm: [f64; 3],
    ) -> Result<Option<Self>, Fault> {
        let mut conn = pool.acquire().await?;
        Self::read_in(&mut conn, version, box_mm).await
    }

    async fn read_in(
        conn: &mut sqlx::PgConnection,
        version: DesignVersionId,
        box_mm: [f64; 3],
    ) -> Result<Option<Self>, Fault> {
        let Some(asked) = questions(conn, version).await? else { return Ok(None) };
        let look = analysis::look_found(&mut *conn, &asked.look).await?;
        let mut freezing = [Found::NotAsked, Found::NotAsked, Found::NotAsked];
        if let Some(feed) = &asked.feed {
            for (found, stage) in
                freezing.iter_mut().zip([Stage::First, Stage::Advice, Stage::Fine])
            {
                *found = analysis::feed_found(&mut *conn, &feed.at(stage)).await?;
            }
        }
        let [first, advice, fine] = freezing;
        let walls = look.there().and_then(|found| found.examined.thickness.as_ref());
        let filling = match (walls, &asked.casting, &asked.alloy) {
            (Some(walls), Some((casting, _)), Some(alloy)) => {
                Some(analysis::filling(walls, box_mm, alloy, casting))
            }
            _ => None,
        };
        let limits = forecasts::limits(conn).await?;
        let Questions { casting, alloy, .. } = asked;
        Ok(Some(Self { casting, alloy, look, first, advice, fine, filling, limits }))
    }

    /// What is forecast of a casting, as far as anything is.
    pub(super) fn said(&self) -> Vec<Said> {
        let mut said = self.calculated();
        for each in &mut said {
            each.own = self.limits.verdict(each.what, &each.figures);
        }
        said
    }

    /// The verdict by this studio's limits: a word for the style, and a heading.
    pub(super) fn own_verdict(&self, what: What) -> Option<(&'static str, &'static str)> {
        let own = self.said().into_iter().find(|said| said.what == what)?.own?;
        let mark = match own {
            forecasts::Verdict::Yes => "good",
            forecasts::Verdict::Doubtful => "open",
            forecasts::Verdict::No => "bad",
        };
        Some((mark, own.words(what)))
    }

    /// What is shown of feeding, by whichever limit: a word for the style, and a heading.
    pub(super) fn feed_shown(&self) -> (&'static str, &'static str) {
        let calculated = self.feed_verdict().map(|(mark, word, _)| (mark, word));
        self.own_verdict(What::Feed).or(calculated).unwrap_or_default()
    }

    /// How far metal runs here in half of all castings, by this studio's limits.
    pub(super) fn usual_run_mm(&self, filling: &Filling) -> Option<f64> {
        let flow = &filling.sheet.value.flow;
        self.limits.usual_run_mm(flow.shortest.get(), flow.longest.get())
    }

    fn calculated(&self) -> Vec<Said> {
        let mut said = Vec::new();
        if let Some(Ok(filling)) = &self.filling {
            let fill = &filling.sheet.value;
            said.push(Said {
                what: What::Fill,
                verdict: match fill.verdict {
                    Verdict::Fills => forecasts::Verdict::Yes,
                    Verdict::Doubtful => forecasts::Verdict::Doubtful,
                    Verdict::WillNot => forecasts::Verdict::No,
                },
                own: None,
                figures: json!({
                    "thickness_mm": filling.thickness_mm, "run_mm": filling.run_mm,
                    "available_kpa": fill.available.get(), "needed_kpa": fill.needed.get(),
                    "shortest_mm": fill.flow.shortest.get(), "longest_mm": fill.flow.longest.get(),
                }),
            });
        }
        // Without a sprue nothing is said of feeding.
        let sprued = self.casting_has_sprues();
        if let Some(((mark, ..), freezing)) =
            self.feed_verdict().zip(self.freezing()).filter(|_| sprued)
        {
            said.push(Said {
                what: What::Feed,
                verdict: match mark {
                    "good" => forecasts::Verdict::Yes,
                    "bad" => forecasts::Verdict::No,
                    _ => forecasts::Verdict::Doubtful,
                },
                own: None,
                figures: json!({
                    "pockets": freezing.feed.pockets.len(),
                    "porosity_mm3": freezing.feed.porosity_mm3.usual,
                    "pitch_mm": freezing.feed.pitch_mm,
                }),
            });
        }
        said
    }

    /// Whether anything is still to come.
    pub(super) fn open(&self) -> bool {
        self.look.open() || self.first.open() || self.advice.open() || self.fine.open()
    }

    /// Whether anything has to be asked for, again or for the first time.
    pub(super) fn lacks(&self) -> bool {
        let lacks = |missing: bool| missing && !self.open();
        lacks(
            matches!(self.look, Found::NotAsked | Found::Cancelled)
                || self.casting.is_some()
                    && [&self.first, &self.advice, &self.fine]
                        .iter()
                        .any(|found| matches!(found, Found::NotAsked | Found::Cancelled)),
        )
    }

    /// The work under way and still to come: what, doing what, share in per cent.
    pub(super) fn steps(&self) -> Vec<(&'static str, String, u32)> {
        let mut steps = Vec::new();
        let mut add = |name, found: Option<(String, u32)>| {
            if let Some((doing, percent)) = found {
                steps.push((name, doing, percent));
            }
        };
        add("Walls, gaps and bore", under_way(&self.look));
        add("Freezing, a first answer", under_way(&self.first));
        add("Sprues that would do", under_way(&self.advice));
        add("Freezing, finer", under_way(&self.fine));
        steps
    }

    /// Why something gave nothing.
    pub(super) fn failures(&self) -> Vec<&str> {
        let mut why: Vec<&str> = Vec::new();
        if let Found::Failed(reason) = &self.look {
            why.push(reason);
        }
        for found in [&self.first, &self.advice, &self.fine] {
            if let Found::Failed(reason) = found
                && !why.contains(&reason.as_str())
            {
                why.push(reason);
            }
        }
        why
    }

    /// The freezing to show: the finer answer once it is there.
    pub(super) fn freezing(&self) -> Option<&FeedFound> {
        self.fine.there().or(self.first.there())
    }

    /// Whether sprues were given.
    pub(super) fn casting_has_sprues(&self) -> bool {
        self.casting.as_ref().is_some_and(|(casting, _)| !casting.sprues.is_empty())
    }

    /// The version of the way of casting.
    pub(super) fn casting_version(&self) -> i64 {
        self.casting.as_ref().map_or(0, |(_, version)| *version)
    }

    /// The feed verdict: a word for the style, a heading and a sentence.
    pub(super) fn feed_verdict(&self) -> Option<(&'static str, &'static str, String)> {
        let feed = &self.freezing()?.feed;
        let range = self.advice.there().and_then(|found| found.feed.over_range.as_ref());
        if !self.casting_has_sprues() {
            return Some((
                "open",
                "No sprue yet",
                "Without a sprue the piece feeds itself from where it freezes last. Put a sprue there, or take the advice below.".to_owned(),
            ));
        }
        let sure = match range {
            Some(range) if range.enough_at_both => {
                "So it is at both ends of what is known of the metal and the mould."
            }
            Some(range) if range.short_at_both => {
                "So it is at both ends of what is known of the metal and the mould."
            }
            Some(_) => {
                "At one end of what is known of the metal and the mould it comes out the other way: a trial piece would settle it."
            }
            None => {
                "How far that holds over what is known of metal and mould is still being worked out."
            }
        };
        let undecided = range.is_some_and(|range| !range.enough_at_both && !range.short_at_both);
        Some(match (feed.enough, undecided) {
            (true, false) => {
                ("good", "Fed to the end", format!("Every section freezes towards a sprue. {sure}"))
            }
            (false, false) => (
                "bad",
                "Not fed to the end",
                format!(
                    "{} cut off from feed while still liquid. {sure}",
                    pockets(feed.pockets.len())
                ),
            ),
            (_, true) => (
                "open",
                "Doubtful",
                format!(
                    "With the usual values it is {}. {sure}",
                    if feed.enough { "fed" } else { "not fed" }
                ),
            ),
        })
    }

    /// The advice, as sentences.
    pub(super) fn advice_lines(&self) -> Vec<String> {
        let Some(found) = self.advice.there() else { return Vec::new() };
        found.feed.advice.iter().map(|line| sentence(line)).collect()
    }

    /// The sprues that would do, where they are others than those asked with.
    pub(super) fn proposed(&self) -> Option<&[SprueJson]> {
        let proposed = self.advice.there()?.feed.proposed_sprues.as_slice();
        let now = self.casting.as_ref().map_or(&[][..], |(casting, _)| &casting.sprues);
        (!proposed.is_empty() && proposed != now).then_some(proposed)
    }

    /// The fill verdict: a word for the style and a heading.
    pub(super) fn fill_verdict(filling: &Filling) -> (&'static str, &'static str) {
        words(filling.sheet.value.verdict)
    }

    /// Whether metal runs so much farther than it has to that the upper bound tells nothing more.
    pub(super) fn runs_far(filling: &Filling) -> bool {
        filling.sheet.value.flow.shortest.get() > FAR * filling.run_mm
    }

    /// The centre of mass, once the model was looked into.
    pub(super) fn centre_mm(&self) -> Option<[f64; 3]> {
        self.look.there().and_then(|look| look.centre_mm)
    }

    /// Were it a wire and not a sheet, and that made a difference.
    pub(super) fn wire_words(filling: &Filling) -> Option<&'static str> {
        (filling.wire != filling.sheet.value.verdict).then(|| words(filling.wire).1)
    }

    /// The pressure that pushes, opening into the whole working.
    pub(super) fn fill_working(filling: &Filling, show: &Show) -> Html {
        let figure = show.number(filling.sheet.value.available.get(), 1, "kPa");
        working_of(&figure, &filling.sheet.working)
    }

    /// What the viewer marks on the model, as JSON for its script.
    pub(super) fn marks(&self) -> String {
        let freezing = self.freezing();
        let feed: Option<&FeedJson> = freezing.map(|found| &found.feed);
        let walls = self.look.there().and_then(|found| found.examined.thickness.as_ref());
        let sprues = self.casting.as_ref().map_or(&[][..], |(casting, _)| &casting.sprues);
        json!({
            "pockets": feed.map(|feed| &feed.pockets),
            "last": feed.map(|feed| &feed.last_to_freeze),
            "rods": freezing.map(|found| &found.rods),
            "sprues": sprues,
            "thin": walls.map(|walls| &walls.thin_places),
            "limit_mm": walls.map(|walls| walls.limit_mm),
            "scales": {
                "walls": self.look.there().and_then(|found| found.walls_shown.as_ref()).map(|shown| shown.scale),
                "gaps": self.look.there().and_then(|found| found.gaps_shown.as_ref()).map(|shown| shown.scale),
                "times": freezing.and_then(|found| found.shown.as_ref()).map(|shown| shown.scale),
            },
        })
        .to_string()
    }
}

fn under_way<T>(found: &Found<T>) -> Option<(String, u32)> {
    match found {
        Found::Waiting => Some(("waits for its turn".to_owned(), 0)),
        Found::Running(doing, share) => {
            let doing = if doing.is_empty() { "begins" } else { doing };
            Some((doing.to_owned(), (share * 100.0).round() as u32))
        }
        _ => None,
    }
}

fn words(verdict: Verdict) -> (&'static str, &'static str) {
    match verdict {
        Verdict::Fills => ("good", "Fills"),
        Verdict::Doubtful => ("open", "Doubtful"),
        Verdict::WillNot => ("bad", "Will not fill"),
    }
}

fn pockets(count: usize) -> String {
    if count == 1 { "One place is".to_owned() } else { format!("{count} places are") }
}

/// A line of advice with a capital and a full stop.
pub(super) fn sentence(line: &str) -> String {
    let mut letters = line.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

/// The colours of a scale with its ends.
pub(crate) fn legend(scale: &Scale, unit: &str) -> Html {
    let stops: String = scale
        .tone
        .colours()
        .iter()
        .enumerate()
        .map(|(n, [r, g, b])| {
            format!("<rect x=\"{}\" width=\"24\" height=\"10\" fill=\"rgb({r},{g},{b})\"/>", n * 24)
        })
        .collect();
    let digits = if scale.to >= 100.0 { 0 } else { 1 };
    let unit = Html::escaped(unit);
    Html::trusted(format!(
        "<span class=\"legend\">{:.digits$} <svg width=\"120\" height=\"10\" viewBox=\"0 0 120 10\" aria-hidden=\"true\">{stops}</svg> {:.digits$}\u{202f}<span class=\"unit\">{unit}</span></span>",
        scale.from, scale.to
    ))
}
