//! The usual casting alloys, with what is published about them.
//!
//! A studio adds its own. Where a figure has no book, paper or data sheet behind it,
//! its source says so; what was not found is left out.

use std::borrow::Cow;
use std::sync::LazyLock;

use crate::quantity::{Celsius, GramsPerCubicCentimetre, Kelvins, Share};
use crate::source::{Source, Sourced};

use super::alloy::{Alloy, Density, Family, ShareRange, TemperatureRange};
use super::mixture::additive_density_with;
use super::{Composition, Element};
use Element::{
    Copper, Gold, Iridium, Manganese, Nickel, Palladium, Platinum, Ruthenium, Silicon, Silver, Tin,
    Zinc,
};

/// The built-in alloys, by family and then by fineness.
#[must_use]
pub fn alloys() -> &'static [Alloy] {
    static ALLOYS: LazyLock<Vec<Alloy>> = LazyLock::new(|| {
        let mut all = copper_alloys();
        all.extend(silvers());
        all.extend(yellow_golds());
        all.extend(other_golds());
        all.extend(platinum_group());
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

const C87300: Source =
    sheet("C87300 (Silicon Bronze), Copper Development Association form, 27 January 2006");
const C87200: Source = sheet(
    "Conex Casting, alloy page C87200 (ASTM B584), patternmaker’s shrinkage of the wider grade, 1/4 in per ft",
);
const C87500: Source = sheet("Conex Casting, alloy page C87500 (ASTM B584)");
const C65500: Source = sheet("Atlas Metal, Copper Alloy No. C65500");
const C90300: Source = sheet("St. Paul Foundry, alloy page C90300");
const C85300: Source = sheet("Conex Bronze, alloy page C85300");
const TMT: Source = published(
    "“How to determine approximate specific gravities of alloys”, Table 4, tmtpages metal-casting reference",
);
const BENCH: Source = published(
    "Stuller, “Where can I find the specific gravity of various materials?”, bench article, 2012",
);
const ESPI: Source = sheet("ESPI Metals, sterling silver data page");
const CARAT: Source = published("“Gold alloys: what is a carat”, rosegold web article");
const KARAT_GOLD_TIPS: Source =
    published("“General Casting Tips for Karat Golds”, jewellery supplier's bench article");

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

const BRONZE_FLASK_C: f64 = 538.0;

fn copper_alloys() -> Vec<Alloy> {
    let silicon_caution = "“Silicon bronze” is the name of several alloys with different melting ranges; go by the number on the ingot.";
    let zinc_caution =
        "Zinc fumes off when overheated; extraction is needed, see the alloy's safety data sheet.";
    vec![
        Alloy {
            density: dense(8.359, 0.5, C87300),
            solidus: at(821.1, C87300),
            liquidus: at(971.1, C87300),
            casting: between(1040.0, 1180.0, Source::FromMemory),
            flask: between(BRONZE_FLASK_C, BRONZE_FLASK_C, Source::CommonPractice),
            contraction: contraction(2.083, 2.083, C87200),
            cautions: cautions(&[silicon_caution]),
            ..bare(
                "silicon-bronze-c87300",
                "silicon bronze C87300",
                Family::SiliconBronze,
                &[(Copper, 9490), (Silicon, 400), (Manganese, 110)],
                C87300,
            )
        },
        Alloy {
            density: dense(8.276, 0.5, C87500),
            solidus: at(821.1, C87500),
            liquidus: at(917.2, C87500),
            casting: between(982.2, 1093.3, C87500),
            flask: between(BRONZE_FLASK_C, BRONZE_FLASK_C, Source::CommonPractice),
            contraction: contraction(1.953, 1.953, C87500),
            cautions: cautions(&[silicon_caution, zinc_caution]),
            ..bare(
                "silicon-brass-c87500",
                "silicon brass C87500",
                Family::SiliconBronze,
                &[(Copper, 8200), (Zinc, 1400), (Silicon, 400)],
                C87500,
            )
        },
        Alloy {
            density: dense(8.525, 1.0, C65500),
            solidus: at(971.1, C65500),
            liquidus: at(1026.7, C65500),
            flask: between(BRONZE_FLASK_C, BRONZE_FLASK_C, Source::CommonPractice),
            contraction: contraction(1.5, 2.1, Source::CommonPractice),
            cautions: cautions(&[silicon_caution]),
            ..bare(
                "silicon-bronze-c65500",
                "silicon bronze C65500 (wrought stock)",
                Family::SiliconBronze,
                &[(Copper, 9700), (Silicon, 300)],
                C65500,
            )
        },
        Alloy {
            density: dense(8.802, 0.2, C90300),
            solidus: at(854.4, C90300),
            liquidus: at(1000.0, C90300),
            casting: between(1037.8, 1148.9, C90300),
            contraction: contraction(1.5625, 1.5625, C90300),
            cautions: cautions(&[zinc_caution]),
            ..bare(
                "tin-bronze-c90300",
                "tin bronze C90300",
                Family::TinBronze,
                &[(Copper, 8800), (Tin, 800), (Zinc, 400)],
                C90300,
            )
        },
        Alloy {
            density: dense(8.525, 0.2, C85300),
            solidus: at(915.6, C85300),
            liquidus: at(943.3, C85300),
            contraction: contraction(1.5625, 1.5625, C85300),
            cautions: cautions(&[zinc_caution]),
            ..bare(
                "yellow-brass-c85300",
                "yellow brass C85300",
                Family::Brass,
                &[(Copper, 7000), (Zinc, 3000)],
                C85300,
            )
        },
    ]
}

const SILVER_FLASK: Source = published(
    "D. Grandi, Orchid jewellers' forum, thread 10521: heavy sections to filigree, vacuum",
);

fn silvers() -> Vec<Alloy> {
    let pure_silver = Silver.melting_point();
    vec![
        Alloy {
            density: dense(10.49, 0.4, TMT),
            solidus: Some(pure_silver.clone()),
            liquidus: Some(pure_silver),
            contraction: contraction(
                1.0,
                2.24,
                Source::Assumed(Cow::Borrowed(
                    "from the trade's 1 % up to the free contraction computed from the densities of liquid and solid silver",
                )),
            ),
            ..bare(
                "fine-silver",
                "fine silver",
                Family::Silver,
                &[(Silver, 10000)],
                Source::Assumed(Cow::Borrowed("taken as pure; the trade sells 999 to 999.9")),
            )
        },
        Alloy {
            density: dense(10.36, 0.5, ESPI),
            solidus: at(779.0, Source::FromMemory),
            liquidus: at(
                893.0,
                published("Orchid jewellers' forum, threads 31266 and 10521: melts at 1640 °F"),
            ),
            casting: between(
                970.0,
                970.0,
                published("Stuller, “Silver comparisons”, bench article"),
            ),
            flask: between(398.9, 704.4, SILVER_FLASK),
            contraction: contraction(1.0, 2.0, Source::CommonPractice),
            cautions: cautions(&[
                "Overheated sterling takes up oxygen and spits; keep it covered and no hotter than needed.",
            ]),
            ..bare(
                "sterling-silver",
                "sterling silver",
                Family::Silver,
                &[(Silver, 9250), (Copper, 750)],
                ESPI,
            )
        },
    ]
}

/// What all karat golds share: superheat, flask and contraction; the liquidus as one printed melting point.
fn karat_gold(alloy: Alloy, liquidus_c: Option<f64>) -> Alloy {
    // Metal for vacuum casting 100 to 200 °F over its melting point, as differences 55.6 and 111.1 K.
    let superheated = |liquidus: f64| {
        let liquidus = celsius(liquidus);
        Sourced {
            value: TemperatureRange {
                from: liquidus + Kelvins::of(55.6),
                to: liquidus + Kelvins::of(111.1),
            },
            source: KARAT_GOLD_TIPS,
        }
    };
    Alloy {
        liquidus: liquidus_c.and_then(|liquidus| at(liquidus, TMT)),
        casting: liquidus_c.map(superheated),
        flask: between(426.7, 704.4, KARAT_GOLD_TIPS),
        contraction: contraction(1.0, 1.8, Source::CommonPractice),
        ..alloy
    }
}

/// Golds of which only a composition is known: density by additivity, ±1.5 %.
fn computed_density(alloy: Alloy, tolerance_percent: f64) -> Alloy {
    let density = dense_by_additivity(&alloy.composition.value, tolerance_percent);
    Alloy { density, ..alloy }
}

fn yellow_golds() -> Vec<Alloy> {
    let gold = |key, name, tenths: &[(Element, u32)], source| {
        bare(key, name, Family::Gold, tenths, source)
    };
    let pure_gold = Gold.melting_point();
    vec![
        computed_density(
            karat_gold(
                gold(
                    "gold-9k-yellow",
                    "9 ct yellow gold",
                    &[(Gold, 3750), (Silver, 1000), (Copper, 4500), (Zinc, 750)],
                    CARAT,
                ),
                None,
            ),
            1.5,
        ),
        Alloy {
            density: dense(11.57, 1.0, BENCH),
            ..karat_gold(
                gold(
                    "gold-10k-yellow",
                    "10 ct yellow gold",
                    &[(Gold, 4170), (Silver, 1100), (Copper, 4080), (Zinc, 650)],
                    Source::FromMemory,
                ),
                None,
            )
        },
        Alloy {
            density: dense(13.07, 5.0, TMT),
            ..karat_gold(
                gold(
                    "gold-14k-yellow",
                    "14 ct yellow gold",
                    &[(Gold, 5850), (Silver, 400), (Copper, 3120), (Zinc, 630)],
                    CARAT,
                ),
                Some(879.0),
            )
        },
        Alloy {
            density: dense(15.58, 2.5, TMT),
            ..karat_gold(
                gold(
                    "gold-18k-yellow",
                    "18 ct yellow gold",
                    &[(Gold, 7500), (Silver, 1600), (Copper, 900)],
                    CARAT,
                ),
                Some(927.0),
            )
        },
        Alloy {
            density: dense(
                17.75,
                1.0,
                published("K. Vlach, finishing.com letter 189/07: 17.7 to 17.8"),
            ),
            ..karat_gold(
                gold(
                    "gold-22k-yellow",
                    "22 ct yellow gold",
                    &[(Gold, 9170), (Silver, 550), (Copper, 280)],
                    CARAT,
                ),
                None,
            )
        },
        Alloy {
            density: dense(19.32, 0.2, TMT),
            solidus: Some(pure_gold.clone()),
            liquidus: Some(pure_gold),
            contraction: contraction(
                1.0,
                1.83,
                Source::Assumed(Cow::Borrowed(
                    "from the trade's 1 % up to the free contraction computed from the densities of liquid and solid gold",
                )),
            ),
            ..gold(
                "fine-gold",
                "fine gold",
                &[(Gold, 10000)],
                Source::Assumed(Cow::Borrowed("taken as pure; the trade sells 999 to 999.9")),
            )
        },
    ]
}

fn other_golds() -> Vec<Alloy> {
    let gold = |key, name, tenths: &[(Element, u32)], source| {
        bare(key, name, Family::Gold, tenths, source)
    };
    let nickel_caution = "Holds nickel: skin contact is restricted by law in the European Union and the United Kingdom, and nickel can cause allergy; check before offering it.";
    vec![
        computed_density(
            karat_gold(
                gold(
                    "gold-9k-rose",
                    "9 ct rose gold",
                    &[(Gold, 3750), (Silver, 2000), (Copper, 4250)],
                    Source::FromMemory,
                ),
                None,
            ),
            1.5,
        ),
        computed_density(
            karat_gold(
                gold(
                    "gold-9k-white",
                    "9 ct white gold (silver)",
                    &[(Gold, 3750), (Silver, 6250)],
                    Source::FromMemory,
                ),
                None,
            ),
            1.5,
        ),
        Alloy {
            density: dense(13.26, 1.0, TMT),
            ..karat_gold(
                gold(
                    "gold-14k-rose",
                    "14 ct rose gold",
                    &[(Gold, 5850), (Silver, 900), (Copper, 3250)],
                    Source::FromMemory,
                ),
                Some(935.0),
            )
        },
        Alloy {
            density: dense(12.61, 1.0, TMT),
            cautions: cautions(&[nickel_caution]),
            ..karat_gold(
                gold(
                    "gold-14k-white-nickel",
                    "14 ct white gold (nickel)",
                    &[(Gold, 5850), (Silver, 50), (Copper, 2700), (Zinc, 700), (Nickel, 700)],
                    CARAT,
                ),
                Some(996.0),
            )
        },
        Alloy {
            density: dense(15.18, 1.0, TMT),
            ..karat_gold(
                gold(
                    "gold-18k-rose",
                    "18 ct rose gold",
                    &[(Gold, 7500), (Silver, 275), (Copper, 2225)],
                    published("“Qtena” list of gold alloys, web page, widely copied"),
                ),
                Some(902.0),
            )
        },
        Alloy {
            density: dense(14.64, 1.0, TMT),
            cautions: cautions(&[nickel_caution]),
            ..karat_gold(
                gold(
                    "gold-18k-white-nickel",
                    "18 ct white gold (nickel)",
                    &[(Gold, 7500), (Nickel, 1730), (Zinc, 550), (Copper, 220)],
                    published("encyclopaedia article “Colored gold”, as copied by a web log"),
                ),
                Some(943.0),
            )
        },
        computed_density(
            karat_gold(
                gold(
                    "gold-18k-white-palladium",
                    "18 ct white gold (palladium)",
                    &[(Gold, 7500), (Silver, 400), (Copper, 400), (Palladium, 1700)],
                    CARAT,
                ),
                None,
            ),
            5.0,
        ),
        computed_density(
            karat_gold(
                gold(
                    "gold-22k-rose",
                    "22 ct rose gold",
                    &[(Gold, 9170), (Copper, 830)],
                    Source::FromMemory,
                ),
                None,
            ),
            1.5,
        ),
    ]
}

fn platinum_group() -> Vec<Alloy> {
    let conlon = published("K. Conlon, Johnson Matthey, on platinum alloys (Pt with 5 % Ru)");
    let hot_caution = "Cast far above the limit of gypsum-bonded investment: only in an investment made for platinum, by the maker's schedule, with welding-grade eye protection.";
    let platinum_contraction = || contraction(1.5, 2.5, Source::CommonPractice);
    vec![
        Alloy {
            density: dense(
                20.70,
                1.0,
                published("Romanoff, table of specific gravities for casting, trade page"),
            ),
            solidus: at(1780.0, Source::FromMemory),
            liquidus: at(1795.0, Source::FromMemory),
            flask: between(
                800.0,
                900.0,
                published(
                    "U. Klotz and T. Drago, The Role of Process Parameters in Platinum Casting, Santa Fe Symposium 2010 (below about 800 °C filigree filled poorly; upper end assumed)",
                ),
            ),
            contraction: platinum_contraction(),
            cautions: cautions(&[hot_caution]),
            ..bare(
                "platinum-950-ruthenium",
                "platinum 950 (ruthenium)",
                Family::Platinum,
                &[(Platinum, 9500), (Ruthenium, 500)],
                conlon,
            )
        },
        Alloy {
            contraction: platinum_contraction(),
            cautions: cautions(&[
                hot_caution,
                "Tables print 20.80 g/cm³, the volumes of the metals give 20.0: weigh a piece before quoting by the gram.",
            ]),
            ..computed_density(
                bare(
                    "platinum-950-cobalt",
                    "platinum 950 (cobalt)",
                    Family::Platinum,
                    &[(Platinum, 9500), (Element::Cobalt, 500)],
                    published("Johnson Matthey Technology Review 59 (2015) 129"),
                ),
                4.0,
            )
        },
        Alloy {
            density: dense(21.54, 0.5, BENCH),
            contraction: platinum_contraction(),
            cautions: cautions(&[hot_caution]),
            ..bare(
                "platinum-900-iridium",
                "platinum 900 (iridium)",
                Family::Platinum,
                &[(Platinum, 9000), (Iridium, 1000)],
                BENCH,
            )
        },
        Alloy {
            contraction: platinum_contraction(),
            cautions: cautions(&[hot_caution]),
            ..computed_density(
                bare(
                    "palladium-950-ruthenium",
                    "palladium 950 (ruthenium)",
                    Family::Palladium,
                    &[(Palladium, 9500), (Ruthenium, 500)],
                    published(
                        "palladium technical manual, as quoted in Orchid jewellers' forum, thread 46539",
                    ),
                ),
                5.0,
            )
        },
    ]
}
