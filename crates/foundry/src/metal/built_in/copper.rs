//! Bronzes and brasses.

use crate::source::Source;

use super::{at, bare, between, cautions, contraction, dense, sheet};
use crate::metal::Element::{Copper, Manganese, Silicon, Tin, Zinc};
use crate::metal::alloy::{Alloy, Family};

const C87300: Source =
    sheet("C87300 (Silicon Bronze), Copper Development Association form, 27 January 2006");
const C87200: Source = sheet(
    "Conex Casting, alloy page C87200 (ASTM B584), patternmaker’s shrinkage of the wider grade, 1/4 in per ft",
);
const C87500: Source = sheet("Conex Casting, alloy page C87500 (ASTM B584)");
const C65500: Source = sheet("Atlas Metal, Copper Alloy No. C65500");
const C90300: Source = sheet("St. Paul Foundry, alloy page C90300");
const C85300: Source = sheet("Conex Bronze, alloy page C85300");

const BRONZE_FLASK_C: f64 = 538.0;

pub(super) fn copper_alloys() -> Vec<Alloy> {
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
