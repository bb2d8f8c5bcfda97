//! The usual casting alloys, with what is published about them.
//!
//! A studio adds its own. Where a figure has no book, paper or data sheet behind it,
//! its source says so; what was not found is left out.

mod copper;
mod silver;
mod gold;
mod platinum;

use std::borrow::Cow;
use std::sync::LazyLock;

use crate::quantity::{Celsius, GramsPerCubicCentimetre, Share};
use crate::source::{Source, Sourced};

use super::alloy::{Alloy, Density, Family, ShareRange, TemperatureRange};
use super::mixture::additive_density_with;
use super::{Composition, Element};

/// The built-in alloys, by family and then by fineness.
#[must_use]
pub fn alloys() -> &'static [Alloy] {
    static ALLOYS: LazyLock<Vec<Alloy>> = LazyLock::new(|| {
        let mut all = copper::copper_alloys();
        all.extend(silver::silvers());
        all.extend(gold::yellow_golds());
        all.extend(gold::other_golds());
        all.extend(platinum::platinum_group());
        all
    });
    &ALLOYS
}

/// Finds a built-in alloy by its key.
#[must_use]
pub fn alloy_by_key(key: &str) -> Option<&'static Alloy> {
    alloys().iter().find(|alloy| alloy.key == key)
}

/// A data sheet or trade page, cited by its publisher and title.
const fn sheet(what: &'static str) -> Source {
    Source::MakerSheet(Cow::Borrowed(what))
}
const fn published(what: &'static str) -> Source {
    Source::Published(Cow::Borrowed(what))
}

const TMT: Source = published(
    "“How to determine approximate specific gravities of alloys”, Table 4, tmtpages metal-casting reference",
);
const BENCH: Source = published(
    "Stuller, “Where can I find the specific gravity of various materials?”, bench article, 2012",
);

fn celsius(value: f64) -> Celsius {
    Celsius::of(value)
}

fn at(value: f64, source: Source) -> Option<Sourced<Celsius>> {
    Some(Sourced { value: celsius(value), source })
}

fn between(from: f64, to: f64, source: Source) -> Option<Sourced<TemperatureRange>> {
    Some(Sourced { value: TemperatureRange { from: celsius(from), to: celsius(to) }, source })
}

fn share(percent: f64) -> Share {
    Share::from_percent(percent).unwrap_or(Share::NONE)
}

fn contraction(least: f64, greatest: f64, source: Source) -> Option<Sourced<ShareRange>> {
    Some(Sourced { value: ShareRange { least: share(least), greatest: share(greatest) }, source })
}

fn dense(value: f64, tolerance_percent: f64, source: Source) -> Option<Density> {
    Some(Density {
        value: GramsPerCubicCentimetre::of(value),
        tolerance: share(tolerance_percent),
        source,
    })
}

fn dense_by_additivity(composition: &Composition, tolerance_percent: f64) -> Option<Density> {
    let worked = additive_density_with(composition, Element::density).ok()?;
    Some(Density {
        value: worked.value.density,
        tolerance: share(tolerance_percent),
        source: Source::Computed,
    })
}

fn cautions(each: &[&'static str]) -> Vec<Cow<'static, str>> {
    each.iter().map(|caution| Cow::Borrowed(*caution)).collect()
}

/// An alloy with its composition in tenths of a part per thousand, everything else unknown.
fn bare(
    key: &'static str,
    name: &'static str,
    family: Family,
    tenths: &[(Element, u32)],
    source: Source,
) -> Alloy {
    Alloy {
        key: Cow::Borrowed(key),
        name: Cow::Borrowed(name),
        family,
        composition: Sourced { value: Composition::of_tenths(tenths), source },
        density: None,
        solidus: None,
        liquidus: None,
        casting: None,
        flask: None,
        contraction: None,
        cautions: Vec::new(),
    }
}

/// An alloy of which only a composition is known: density by additivity, within a tolerance.
fn computed_density(alloy: Alloy, tolerance_percent: f64) -> Alloy {
    let density = dense_by_additivity(&alloy.composition.value, tolerance_percent);
    Alloy { density, ..alloy }
}
