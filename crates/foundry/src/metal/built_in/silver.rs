//! Fine and sterling silver.

use std::borrow::Cow;

use crate::source::Source;

use super::{TMT, at, bare, between, cautions, contraction, dense, published, sheet};
use crate::metal::Element::{Copper, Silver};
use crate::metal::alloy::{Alloy, Family};

const ESPI: Source = sheet("ESPI Metals, sterling silver data page");

const SILVER_FLASK: Source = published(
    "D. Grandi, Orchid jewellers' forum, thread 10521: heavy sections to filigree, vacuum",
);

pub(super) fn silvers() -> Vec<Alloy> {
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
