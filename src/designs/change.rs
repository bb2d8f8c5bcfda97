//! What a version changed against the one before it.

use sqlx::PgPool;

use super::closer::Closer;
use super::view::VersionRow;
use super::weight;
use crate::id::FileId;
use crate::web::{Fault, Html, Show};

/// A version beside the one before it.
pub(crate) struct Change {
    pub(super) before: VersionRow,
    pub(super) rows: Vec<ChangeRow>,
    pub(super) pictures: [Option<FileId>; 2],
    /// What the pictures are coloured by, in words; empty when by nothing.
    pub(super) coloured: &'static str,
}

impl Change {
    /// The two versions' numbers with their pictures.
    pub(super) fn sides(&self, after: &i32) -> [(i32, Option<FileId>); 2] {
        [(self.before.n, self.pictures[0]), (*after, self.pictures[1])]
    }
}

/// One figure before and after.
pub(crate) struct ChangeRow {
    pub(super) what: &'static str,
    pub(super) before: Html,
    pub(super) after: Html,
    pub(super) difference: String,
    pub(super) same: bool,
}

/// Compares a version with the one before it.
pub(super) async fn read(
    pool: &PgPool,
    show: &Show,
    before: &VersionRow,
    after: &VersionRow,
    closer: Option<&Closer>,
) -> Result<Change, Fault> {
    let earlier = Closer::read(pool, before.id, box_of(before)).await?;
    let mut rows = Rows { rows: Vec::new() };
    let known = |version: &VersionRow, value: Option<f64>| value.filter(|_| version.unit.is_some());
    let both = |value: fn(&VersionRow) -> Option<f64>| {
        [known(before, value(before)), known(after, value(after))]
    };
    for (what, side) in [
        ("Length along x", (|v| Some(v.box_x_mm)) as fn(&VersionRow) -> Option<f64>),
        ("Length along y", |v| Some(v.box_y_mm)),
        ("Length along z", |v| Some(v.box_z_mm)),
    ] {
        rows.number(what, both(side), |mm| show.number(mm, 2, "mm"));
    }
    let volumes = both(|v| v.volume_mm3);
    rows.number("Volume", volumes, |mm3| show.volume(mm3));
    let casting = closer.and_then(|closer| closer.casting.as_ref());
    let alloys = weight::alloys(pool).await?;
    let alloy = casting
        .and_then(|(casting, _)| alloys.iter().find(|alloy| alloy.id == casting.alloy))
        .or(alloys.first());
    if let Some(alloy) = alloy {
        let weights = volumes.map(|mm3| {
            let mass = weight::weigh(mm3?, alloy.density_g_cm3, &alloy.source).ok()?;
            Some(mass.value.get())
        });
        rows.number("Weight", weights, |g| {
            Html::trusted(format!("{} in {}", show.grams(g), Html::escaped(&alloy.name)))
        });
    }
    let closers = [earlier.as_ref(), closer];
    let walls = |closer: Option<&Closer>| closer?.look.there()?.examined.thickness.clone();
    let found = closers.map(walls);
    rows.number("Thinnest wall", found.each_ref().map(|walls| walls.as_ref()?.min_mm), |mm| {
        show.number(mm, 2, "mm")
    });
    rows.number(
        "Surface below the limit",
        found.each_ref().map(|walls| Some(walls.as_ref()?.area_below_mm2)),
        |mm2| show.number(mm2, 1, "mm²"),
    );
    rows.words(
        "Filling",
        closers.map(|closer| {
            let filling = closer?.filling.as_ref()?.as_ref().ok()?;
            Some(Closer::fill_verdict(filling).1)
        }),
    );
    rows.words("Feeding", closers.map(|closer| Some(closer?.feed_verdict()?.1)));
    rows.number(
        "Freezes last after",
        closers.map(|closer| Some(closer?.freezing()?.feed.last_to_freeze.seconds)),
        |s| show.number(s, 1, "s"),
    );
    let coloured = closers.map(|closer| Some(closer?.look.there()?.walls_shown.as_ref()?.picture));
    let (pictures, coloured) = match coloured {
        [Some(_), Some(_)] => (coloured, "the thickness of their walls, thin is dark"),
        _ => ([before.picture_id, after.picture_id], ""),
    };
    Ok(Change { before: before.clone(), rows: rows.rows, pictures, coloured })
}

/// The sides of the box around a version.
pub(super) fn box_of(version: &VersionRow) -> [f64; 3] {
    [version.box_x_mm, version.box_y_mm, version.box_z_mm]
}

struct Rows {
    rows: Vec<ChangeRow>,
}

impl Rows {
    /// A row of numbers, unless neither is known.
    fn number(
        &mut self,
        what: &'static str,
        values: [Option<f64>; 2],
        shown: impl Fn(f64) -> Html,
    ) {
        if values == [None, None] {
            return;
        }
        let [before, after] =
            values.map(|value| value.map_or_else(|| Html::escaped("not known"), &shown));
        let same = before == after;
        let difference = match values {
            [Some(was), Some(is)] if !same && was != 0.0 => signed_percent(is / was - 1.0),
            _ => String::new(),
        };
        self.rows.push(ChangeRow { what, before, after, difference, same });
    }

    /// A row of words, unless neither is known.
    fn words(&mut self, what: &'static str, values: [Option<&'static str>; 2]) {
        if values == [None, None] {
            return;
        }
        let [before, after] = values.map(|value| Html::escaped(value.unwrap_or("not known")));
        let same = before == after;
        self.rows.push(ChangeRow { what, before, after, difference: String::new(), same });
    }
}

/// A change as people read it: `+3.1 %`, with a real minus sign.
fn signed_percent(share: f64) -> String {
    let text = format!("{:+.1} %", share * 100.0);
    text.replace('-', "\u{2212}")
}
