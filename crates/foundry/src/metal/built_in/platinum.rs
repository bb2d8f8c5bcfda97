//! Platinum and palladium.

use crate::source::Source;

use super::{BENCH, at, bare, between, cautions, computed_density, contraction, dense, published};
use crate::metal::Element::{Cobalt, Iridium, Palladium, Platinum, Ruthenium};
use crate::metal::alloy::{Alloy, Family};

pub(super) fn platinum_group() -> Vec<Alloy> {
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
                    &[(Platinum, 9500), (Cobalt, 500)],
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
