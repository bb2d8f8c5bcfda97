//! Heat data of the alloys a small studio casts.

use super::material::{MetalHeat, Spread};
use super::refusal::FreezeRefusal;
use crate::source::Source;

const CRC: &str = "W. M. Haynes (ed.), CRC Handbook of Chemistry and Physics, 95th ed., 2014";
const PERRY: &str = "Perry's Chemical Engineers' Handbook, table 2-151";
const KAWAI: &str = "T. Kawai, J. Japanese Soc. Dental Materials and Devices 1 (1982) 286";
const C87300: &str = "data sheet C87300, Copper Development Association form, 2006";
const C87200: &str = "Conex Casting, alloy page C87200 (ASTM B584)";
const C87500: &str = "Conex Casting, alloy page C87500 (ASTM B584)";
const C65500: &str = "Atlas Metal, Copper Alloy No. C65500; MakeItFrom, C65500";
const C90300: &str = "St. Paul Foundry, alloy page C90300; National Bronze sheet";
const MIXED: &str = "mean of the constituents by mass";
const HOT: &str = "room-temperature density lowered by copper's ratio of liquid to solid";

/// One row: names, then °C, kg/m³, kJ/kg, J/(kg·K), W/(m·K), share.
struct Row {
    names: &'static [&'static str],
    solidus: f64,
    liquidus: f64,
    melting_source: Source,
    solvent_melts: Option<f64>,
    density: (f64, f64, f64, Source),
    latent: (f64, f64, f64, Source),
    solid_heat: (f64, f64, f64, Source),
    liquid_heat: (f64, f64, f64, Source),
    solid_conducts: (f64, f64, f64, Source),
    liquid_conducts: (f64, f64, f64, Source),
    shrinks: (f64, f64, f64, Source),
}

fn published(what: &'static str) -> Source {
    Source::Published(what.into())
}

fn assumed(why: &'static str) -> Source {
    Source::Assumed(why.into())
}

/// A copper alloy; what is not measured leans on copper itself.
fn copper_alloy(
    names: &'static [&'static str],
    range: (f64, f64, &'static str),
    room_density: f64,
    latent: (f64, f64, f64, Source),
    conducts: (f64, f64, f64),
) -> Row {
    let hot = room_density * 7.997 / 8.96;
    Row {
        names,
        solidus: range.0,
        liquidus: range.1,
        melting_source: published(range.2),
        solvent_melts: Some(1084.62),
        density: (hot * 0.98, hot, room_density, assumed(HOT)),
        latent,
        solid_heat: (400.0, 460.0, 500.0, assumed("near copper's, 464 at 1100 K")),
        liquid_heat: (444.0, 494.0, 571.0, assumed("near liquid copper's")),
        solid_conducts: (conducts.0, conducts.1, conducts.2, assumed("rises when hot")),
        liquid_conducts: (conducts.0, conducts.1, conducts.2, assumed("near the hot solid's")),
        shrinks: (0.04, 0.049, 0.056, assumed("near copper's, Kawai 1982")),
    }
}

fn copper_alloys() -> Vec<Row> {
    let silicon_latent = || (230.0, 250.0, 270.0, assumed(MIXED));
    vec![
        copper_alloy(
            &["silicon bronze", "c87300", "bronze"],
            (821.1, 971.1, C87300),
            8359.0,
            silicon_latent(),
            (28.4, 45.0, 90.0),
        ),
        copper_alloy(
            &["c87200"],
            (860.0, 971.1, C87200),
            8359.0,
            silicon_latent(),
            (28.4, 45.0, 90.0),
        ),
        copper_alloy(
            &["silicon brass", "c87500"],
            (821.1, 917.2, C87500),
            8276.0,
            (200.0, 235.0, 270.0, assumed(MIXED)),
            (27.7, 45.0, 90.0),
        ),
        copper_alloy(
            &["c65500"],
            (971.1, 1026.7, C65500),
            8525.0,
            (234.0, 260.0, 286.0, published(C65500)),
            (36.0, 50.0, 90.0),
        ),
        copper_alloy(
            &["tin bronze", "c90300"],
            (854.4, 1000.0, C90300),
            8802.0,
            (180.0, 193.0, 209.0, assumed(MIXED)),
            (74.8, 100.0, 150.0),
        ),
    ]
}

fn silver_and_pure() -> Vec<Row> {
    vec![
        Row {
            names: &["fine silver", "silver"],
            solidus: 961.78,
            liquidus: 961.78,
            melting_source: published(CRC),
            solvent_melts: None,
            density: (9230.0, 9320.0, 9410.0, published(CRC)),
            latent: (101.7, 104.8, 110.8, published(CRC)),
            solid_heat: (275.0, 281.0, 295.0, published(PERRY)),
            liquid_heat: (308.0, 318.0, 328.0, published(PERRY)),
            solid_conducts: (340.0, 360.0, 400.0, Source::FromMemory),
            liquid_conducts: (160.0, 175.0, 190.0, Source::FromMemory),
            shrinks: (0.045, 0.050, 0.055, published(KAWAI)),
        },
        Row {
            names: &["sterling silver", "sterling"],
            solidus: 802.0,
            liquidus: 893.0,
            melting_source: Source::FromMemory,
            solvent_melts: Some(961.78),
            density: (9050.0, 9200.0, 9400.0, assumed("fine silver's ratio of liquid to solid")),
            latent: (106.0, 112.6, 119.0, assumed(MIXED)),
            solid_heat: (280.0, 295.0, 310.0, assumed(MIXED)),
            liquid_heat: (315.0, 333.0, 350.0, assumed(MIXED)),
            solid_conducts: (250.0, 310.0, 370.0, Source::FromMemory),
            liquid_conducts: (130.0, 160.0, 190.0, Source::FromMemory),
            shrinks: (0.042, 0.050, 0.056, assumed("near silver's, Kawai 1982")),
        },
        Row {
            names: &["copper"],
            solidus: 1084.62,
            liquidus: 1084.62,
            melting_source: published(CRC),
            solvent_melts: None,
            density: (7920.0, 7997.0, 8080.0, published(CRC)),
            latent: (204.7, 208.7, 213.9, published(CRC)),
            solid_heat: (464.0, 495.0, 525.0, published("NIST-JANAF tables, 1998")),
            liquid_heat: (494.0, 517.0, 571.0, published("NIST-JANAF tables, 1998")),
            solid_conducts: (300.0, 330.0, 360.0, Source::FromMemory),
            liquid_conducts: (150.0, 165.0, 180.0, Source::FromMemory),
            shrinks: (0.044, 0.049, 0.054, published(KAWAI)),
        },
        Row {
            names: &["fine gold", "gold"],
            solidus: 1064.18,
            liquidus: 1064.18,
            melting_source: published(CRC),
            solvent_melts: None,
            density: (17140.0, 17310.0, 17480.0, published(CRC)),
            latent: (63.1, 63.7, 64.4, published(CRC)),
            solid_heat: (150.0, 153.0, 160.0, published(PERRY)),
            liquid_heat: (141.0, 149.0, 156.0, published(PERRY)),
            solid_conducts: (230.0, 255.0, 280.0, Source::FromMemory),
            liquid_conducts: (95.0, 105.0, 120.0, Source::FromMemory),
            shrinks: (0.047, 0.052, 0.057, published(KAWAI)),
        },
    ]
}

fn gold_alloys() -> Vec<Row> {
    // Liquidus from tables of melting points, which print one number; the
    // width of the freezing range is from memory.
    let gold = |names, solidus, liquidus, density: f64, latent: f64, solid: f64, liquid: f64| Row {
        names,
        solidus,
        liquidus,
        melting_source: Source::FromMemory,
        solvent_melts: None,
        density: (density * 0.96, density, density * 1.08, assumed("room density less a tenth")),
        latent: (latent * 0.9, latent, latent * 1.1, assumed(MIXED)),
        solid_heat: (solid * 0.93, solid, solid * 1.07, assumed(MIXED)),
        liquid_heat: (liquid * 0.9, liquid, liquid * 1.1, assumed(MIXED)),
        solid_conducts: (100.0, 150.0, 220.0, Source::FromMemory),
        liquid_conducts: (60.0, 90.0, 120.0, Source::FromMemory),
        shrinks: (0.042, 0.050, 0.058, assumed("near gold's, silver's and copper's, Kawai 1982")),
    };
    vec![
        gold(&["18k yellow", "18k yellow gold"], 895.0, 927.0, 14000.0, 87.0, 208.0, 216.0),
        gold(&["14k yellow", "14k yellow gold"], 830.0, 879.0, 11800.0, 103.0, 245.0, 262.0),
    ]
}

fn rows() -> Vec<Row> {
    let mut rows = copper_alloys();
    rows.extend(silver_and_pure());
    rows.extend(gold_alloys());
    rows
}

/// The first name of every alloy with heat data.
#[must_use]
pub fn known_alloys() -> Vec<&'static str> {
    rows().iter().map(|r| r.names[0]).collect()
}

/// Heat data by name; case, hyphens and underscores do not matter.
///
/// # Refuses
/// A name without data; the refusal lists the names that have some.
pub fn heat_of(name: &str) -> Result<MetalHeat, FreezeRefusal> {
    let plain = name.trim().to_lowercase().replace(['-', '_'], " ");
    let row = rows().into_iter().find(|r| r.names.contains(&plain.as_str())).ok_or_else(|| {
        FreezeRefusal::UnknownAlloy { name: name.to_owned(), known: known_alloys().join(", ") }
    })?;
    let spread = |(low, usual, high, source)| Spread::new(low, usual, high, source);
    Ok(MetalHeat {
        name: row.names[0].to_owned(),
        solidus_c: Spread::new(row.solidus, row.solidus, row.solidus, row.melting_source.clone()),
        liquidus_c: Spread::new(row.liquidus, row.liquidus, row.liquidus, row.melting_source),
        solvent_melts_c: row.solvent_melts,
        density_kg_m3: spread(row.density),
        latent_kj_kg: spread(row.latent),
        solid_j_kgk: spread(row.solid_heat),
        liquid_j_kgk: spread(row.liquid_heat),
        solid_w_mk: spread(row.solid_conducts),
        liquid_w_mk: spread(row.liquid_conducts),
        freezing_shrinkage: spread(row.shrinks),
    })
}
