//! Golds, yellow, rose and white.

use std::borrow::Cow;

use crate::quantity::Kelvins;
use crate::source::{Source, Sourced};

use super::{
    BENCH, TMT, at, bare, between, cautions, celsius, computed_density, contraction, dense,
    published,
};
use crate::metal::Element::{self, Copper, Gold, Nickel, Palladium, Silver, Zinc};
use crate::metal::alloy::{Alloy, Family, TemperatureRange};

const CARAT: Source = published("“Gold alloys: what is a carat”, rosegold web article");
const KARAT_GOLD_TIPS: Source =
    published("“General Casting Tips for Karat Golds”, jewellery supplier's bench article");

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

pub(super) fn yellow_golds() -> Vec<Alloy> {
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

pub(super) fn other_golds() -> Vec<Alloy> {
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
