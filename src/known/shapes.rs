//! The shapes, what is known of each, and how it is put to the question.

use std::f64::consts::PI;

use foundry::mesh::ProblemKind::{
    self, DoubledFacets, EnclosedVoid, FlippedFacets, InsideOut, NestedSolid, OpenEdges,
    OverlappingShells,
};
use foundry::mesh::{
    Certainty, Format, Measure, Mesh, ModelFile, RepairOptions, Unit, bore, guess_unit, read,
    repair, union, write,
};
use foundry::shapes::{Fault as Flaw, Lathe, Piece, Turn, solid};

use super::bench::{Bench, verdict_words};
use crate::jobs::Fault;

/// A shape with known truth.
pub(super) struct Known {
    pub(super) slug: &'static str,
    pub(super) title: &'static str,
    pub(super) story: &'static str,
    pub(super) make: fn() -> Mesh,
    pub(super) judge: fn(&mut Bench<'_>) -> Result<(), Fault>,
}

/// All of them, in the order of the page.
pub(super) const ALL: &[Known] = &[
    Known {
        slug: "block",
        title: "Block",
        story: "10 × 20 × 30 mm.",
        make: block,
        judge: |bench| {
            solid_truth(bench, 6000.0, 2200.0, 1.0e-9, "a × b × c; 2(ab + bc + ca)")?;
            let least = bench.walls(0.8)?.thinnest.map(|(mm, _)| mm.get());
            bench.number("thinnest wall", 10.0, least, "mm", 1.0e-3, "as drawn");
            Ok(())
        },
    },
    Known {
        slug: "ball",
        title: "Ball",
        story: "20 mm across, of 16,000 facets, which lie a little inside the true ball.",
        make: ball,
        judge: |bench| {
            solid_truth(bench, 4000.0 * PI / 3.0, 400.0 * PI, 3.0e-3, "4/3 πr³; 4πr²")?;
            let least = bench.walls(0.8)?.thinnest.map(|(mm, _)| mm.get());
            bench.number("thickness", 20.0, least, "mm", 0.01, "its diameter");
            Ok(())
        },
    },
    Known {
        slug: "torus",
        title: "Torus",
        story: "A 4 mm wire bent to a ring of 20 mm.",
        make: || solid::torus(10.0, 2.0, 256, 64),
        judge: |bench| {
            solid_truth(bench, 80.0 * PI * PI, 80.0 * PI * PI, 3.0e-3, "2π²Rr²; 4π²Rr")?;
            let through = bench.measure(bench.mesh)?.handles.map(|holes| holes as f64);
            bench.number("holes through it", 1.0, through, "", 0.0, "by construction");
            Ok(())
        },
    },
    Known {
        slug: "plain-ring",
        title: "Plain ring",
        story: "Bore of 17.3 mm, wall of 1.8 mm, 4.5 mm wide, with sharp edges.",
        make: || solid::tube(8.65, 10.45, 4.5, 180),
        judge: |bench| {
            bore_truth(bench, 17.3)?;
            let least = bench.walls(0.8)?.thinnest.map(|(mm, _)| mm.get());
            bench.number("thinnest wall", 1.8, least, "mm", 2.0e-3, "as drawn");
            Ok(())
        },
    },
    Known {
        slug: "comfort-fit",
        title: "Comfort-fit band",
        story: "Rounded inside; 17.3 mm at its narrowest, wider at the edges. The finger meets the narrowest.",
        make: || Piece::ComfortBand.mesh(),
        judge: |bench| bore_truth(bench, 17.3),
    },
    Known {
        slug: "thin-wall",
        title: "Thin plate",
        story: "30 × 20 × 0.4 mm, thinner than what is known to fill.",
        make: || solid::cuboid([30.0, 20.0, 0.4]),
        judge: |bench| {
            let least = bench.walls(0.8)?.thinnest.map(|(mm, _)| mm.get());
            bench.number("thinnest wall", 0.4, least, "mm", 1.0e-3, "as drawn");
            let filling = bench.filling()?;
            let found = verdict_words(filling.sheet.value.verdict);
            let safe = if found == "fills" { "called safe" } else { "not called safe" };
            bench.words(
                "filling in sterling",
                "not called safe",
                safe,
                "castings of 0.5 mm and below did not all fill",
            );
            Ok(())
        },
    },
    Known {
        slug: "stout-wall",
        title: "Stout plate",
        story: "30 × 20 × 2.5 mm, which every studio fills.",
        make: || solid::cuboid([30.0, 20.0, 2.5]),
        judge: |bench| {
            let found = verdict_words(bench.filling()?.sheet.value.verdict);
            bench.words("filling in sterling", "fills", found, "common practice, no source");
            Ok(())
        },
    },
    Known {
        slug: "narrow-gap",
        title: "Narrow gap",
        story: "Two plates 0.3 mm apart: the investment between them is a fin that breaks off.",
        make: narrow_gap,
        judge: |bench| {
            let least = bench.gaps(0.5)?.thinnest.map(|(mm, _)| mm.get());
            bench.number("narrowest gap", 0.3, least, "mm", 2.0e-3, "as drawn");
            Ok(())
        },
    },
    Known {
        slug: "heavy-head",
        title: "Heavy head",
        story: "A signet ring: the head holds most of the metal and freezes last. A thin sprue at the foot of the shank leaves it to shrink on its own; a stout one on the head feeds it.",
        make: || Piece::SignetRing.mesh(),
        judge: heavy_head,
    },
    Known {
        slug: "two-sprues",
        title: "Two heads",
        story: "Two balls of 10 mm joined by a rod of 2 mm that freezes long before them: one sprue cannot feed both.",
        make: two_heads,
        judge: two_sprues,
    },
    Known {
        slug: "overlapping",
        title: "Overlapping shells",
        story: "Two cubes of 10 mm that share half of each: 1.5 cm³, not 2.",
        make: overlapping,
        judge: |bench| {
            finding(bench, OverlappingShells)?;
            let found = union(bench.mesh).ok().map(|union| union.volume.get());
            bench.number(
                "volume together",
                1500.0,
                found,
                "mm³",
                1.0e-6,
                "10³ + 10³ − 5 × 10 × 10",
            );
            Ok(())
        },
    },
    Known {
        slug: "hollow",
        title: "Hollow ball",
        story: "A ball of 20 mm with a closed hollow of 12 mm in it.",
        make: || joined(ball(), solid::ball(6.0, 96).flipped()),
        judge: |bench| {
            finding(bench, EnclosedVoid)?;
            volume(bench, 4.0 / 3.0 * PI * (1000.0 - 216.0), 3.0e-3, "4/3 π(R³ − r³)")
        },
    },
    Known {
        slug: "nested",
        title: "Body inside a body",
        story: "A cube of 4 mm inside a cube of 10 mm, both facing outwards: the metal is there once.",
        make: nested,
        judge: |bench| {
            finding(bench, NestedSolid)?;
            volume(bench, 1000.0, 1.0e-9, "the outer cube")
        },
    },
    Known {
        slug: "flipped",
        title: "Flipped facets",
        story: "A ball of which every fiftieth facet faces inwards.",
        make: || Flaw::FlippedFacets.put_into(&ball(), 7),
        judge: |bench| {
            finding(bench, FlippedFacets)?;
            volume(bench, 4000.0 * PI / 3.0, 3.0e-3, "4/3 πr³, as if none were flipped")
        },
    },
    Known {
        slug: "inside-out",
        title: "Inside out",
        story: "A block with all its facets facing inwards.",
        make: || block().flipped(),
        judge: |bench| {
            finding(bench, InsideOut)?;
            volume(bench, 6000.0, 1.0e-9, "a × b × c")
        },
    },
    Known {
        slug: "doubled",
        title: "Doubled facets",
        story: "A ball of which every fiftieth facet is there twice.",
        make: || Flaw::DoubledFacets.put_into(&ball(), 7),
        judge: |bench| {
            finding(bench, DoubledFacets)?;
            volume(bench, 4000.0 * PI / 3.0, 3.0e-3, "4/3 πr³")
        },
    },
    Known {
        slug: "hole",
        title: "Hole in the surface",
        story: "A ball with a piece of its surface missing: nothing says what is inside.",
        make: || Flaw::Hole.put_into(&ball(), 7),
        judge: |bench| {
            finding(bench, OpenEdges)?;
            let found = bench.measure(bench.mesh)?.volume;
            bench.words(
                "volume",
                "none",
                if found.is_none() { "none" } else { "one was given" },
                "an open surface encloses nothing",
            );
            Ok(())
        },
    },
    Known {
        slug: "inches",
        title: "Drawn in inches",
        story: "A cube of 1 × 1 × 1, and the file does not say of what.",
        make: || solid::cuboid([1.0; 3]),
        judge: inches,
    },
    Known {
        slug: "unwelded",
        title: "Loose facets",
        story: "A ball whose facets share no points, each corner off by less than a thousandth of a millimetre.",
        make: || Flaw::Unwelded.put_into(&solid::ball(10.0, 96), 7),
        judge: unwelded,
    },
];

fn block() -> Mesh {
    solid::cuboid([10.0, 20.0, 30.0])
}

fn ball() -> Mesh {
    solid::ball(10.0, 128)
}

fn joined(mesh: Mesh, other: Mesh) -> Mesh {
    mesh.joined(&other).unwrap_or_default()
}

fn moved(mesh: Mesh, by: [f64; 3]) -> Mesh {
    mesh.moved(by).unwrap_or_default()
}

fn narrow_gap() -> Mesh {
    let plate = || solid::cuboid([20.0, 20.0, 2.0]);
    joined(plate(), moved(plate(), [0.0, 0.0, 2.3]))
}

fn overlapping() -> Mesh {
    let cube = || solid::cuboid([10.0; 3]);
    joined(cube(), moved(cube(), [5.0, 0.0, 0.0]))
}

fn nested() -> Mesh {
    joined(solid::cuboid([10.0; 3]), moved(solid::cuboid([4.0; 3]), [3.0; 3]))
}

/// Two balls on the z axis, 20 mm from middle to middle, and a rod between them.
fn two_heads() -> Mesh {
    const STEPS: u32 = 40;
    // The rod meets the ball where its radius is 1.
    let meets = (1.0_f64 / 5.0).asin();
    let lower = (0..=STEPS).map(|n| {
        let angle = (PI - meets) * f64::from(n) / f64::from(STEPS);
        [5.0 * angle.sin(), -10.0 - 5.0 * angle.cos()]
    });
    let upper = (0..=STEPS).map(|n| {
        let angle = meets + (PI - meets) * f64::from(n) / f64::from(STEPS);
        [5.0 * angle.sin(), 10.0 - 5.0 * angle.cos()]
    });
    let mut profile: Vec<[f64; 2]> = lower.chain(upper).collect();
    if let (Some(first), last) = (profile.first().copied(), profile.len() - 1) {
        profile[0] = [0.0, first[1]];
        profile[last][0] = 0.0;
    }
    Lathe { profile, turn: Turn::Open, around: 72 }.mesh()
}

fn volume(bench: &mut Bench<'_>, known: f64, within: f64, basis: &str) -> Result<(), Fault> {
    let found = bench.measure(bench.mesh)?.volume.map(|volume| volume.get());
    bench.number("volume", known, found, "mm³", within, basis);
    Ok(())
}

fn solid_truth(
    bench: &mut Bench<'_>,
    mm3: f64,
    mm2: f64,
    within: f64,
    basis: &str,
) -> Result<(), Fault> {
    let measure = bench.measure(bench.mesh)?;
    bench.number("volume", mm3, measure.volume.map(|volume| volume.get()), "mm³", within, basis);
    bench.number("surface", mm2, Some(measure.area.get()), "mm²", within, basis);
    Ok(())
}

fn bore_truth(bench: &mut Bench<'_>, known: f64) -> Result<(), Fault> {
    let found = bore(bench.mesh).map(|bore| bore.diameter.get());
    bench.number("bore", known, found, "mm", 1.0e-3, "as drawn; facets cut 0.003 mm off");
    // ISO 8653 gives a ring the length of its inner edge, in millimetres, as its size.
    let around = found.map(|mm| mm * PI);
    bench.number(
        "size by ISO 8653",
        known * PI,
        around,
        "",
        1.0e-3,
        "ISO 8653: the inner circumference",
    );
    Ok(())
}

fn finding(bench: &mut Bench<'_>, kind: ProblemKind) -> Result<(), Fault> {
    let found = bench.measure(bench.mesh)?.has(kind);
    bench.words(
        &format!("“{}” is found", kind.code().replace('_', " ")),
        "yes",
        if found { "yes" } else { "no" },
        "put in by construction",
    );
    Ok(())
}

fn fed(enough: bool) -> &'static str {
    if enough { "fed" } else { "not fed" }
}

fn heavy_head(bench: &mut Bench<'_>) -> Result<(), Fault> {
    const BASIS: &str = "the head's modulus is the largest";
    let foot = bench.feed(&[([0.0, 0.0, -10.9], 1.5, 8.0)])?;
    let last = if foot.last_to_freeze.at_mm[2] > 4.0 { "the head" } else { "elsewhere" };
    bench.words("freezes last", "the head", last, BASIS);
    bench.words(
        "a 1.5 mm sprue at the foot",
        "not fed",
        fed(foot.enough),
        "the shank freezes before the head",
    );
    let head = bench.feed(&[([0.0, 0.0, 12.6], 6.0, 8.0)])?;
    bench.words("a 6 mm sprue on the head", "fed", fed(head.enough), "the sprue outlasts the head");
    Ok(())
}

fn two_sprues(bench: &mut Bench<'_>) -> Result<(), Fault> {
    let (top, foot) = (([0.0, 0.0, 15.0], 6.0, 8.0), ([0.0, 0.0, -15.0], 6.0, 8.0));
    let one = bench.feed(&[top])?;
    bench.words(
        "one sprue of 6 mm",
        "not fed",
        fed(one.enough),
        "the rod freezes before the far ball",
    );
    let below = if one.pockets.iter().all(|pocket| pocket.at_mm[2] < 0.0) {
        "the far ball"
    } else {
        "elsewhere"
    };
    bench.words("cut off is", "the far ball", below, "by construction");
    let both = bench.feed(&[top, foot])?;
    bench.words("a sprue of 6 mm on each", "fed", fed(both.enough), "each ball has its own");
    Ok(())
}

fn inches(bench: &mut Bench<'_>) -> Result<(), Fault> {
    let model = ModelFile { mesh: bench.mesh.clone(), ..stl_of(bench.mesh)? };
    let asked = match guess_unit(&model).certainty {
        Certainty::Ask => "asked for",
        Certainty::Stated | Certainty::Sure => "taken as known",
    };
    bench.words("the unit is", "asked for", asked, "1 mm, 1 cm and 1 in are all possible");
    let told = model.in_millimetres(Unit::Inch).map_err(|why| Fault::Refused(why.to_string()))?;
    let found = bench.measure(&told)?.volume.map(|volume| volume.get());
    bench.number(
        "volume, told that it is inches",
        16_387.064,
        found,
        "mm³",
        1.0e-6,
        "25.4³, the inch's definition",
    );
    Ok(())
}

fn unwelded(bench: &mut Bench<'_>) -> Result<(), Fault> {
    let closed = |measure: &Measure| if measure.closed { "closed" } else { "open" };
    let before = bench.measure(bench.mesh)?;
    bench.words("as it comes, the surface is", "open", closed(&before), "no corner meets another");
    let repaired = repair(bench.mesh, &RepairOptions::default());
    let after = bench.measure(&repaired.mesh)?;
    bench.words("after the safe repair it is", "closed", closed(&after), "by construction");
    let found = after.volume.map(|volume| volume.get());
    bench.number("volume", 4000.0 * PI / 3.0, found, "mm³", 3.0e-3, "4/3 πr³");
    Ok(())
}

/// The shape written to a binary STL and read back.
fn stl_of(mesh: &Mesh) -> Result<ModelFile, Fault> {
    let refused = |why: String| Fault::Refused(why);
    let bytes = write::stl_binary(mesh, "known").map_err(|why| refused(why.to_string()))?;
    let model = read(&bytes, "known.stl").map_err(|why| refused(why.to_string()))?;
    debug_assert_eq!(model.format, Format::StlBinary);
    Ok(model)
}
