//! Whatever the bytes: an answer or a refusal, never a panic.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use std::sync::LazyLock;

use foundry::mesh::render::{RenderOptions, render};
use foundry::mesh::write::{PlyEncoding, obj, ply, stl_binary, stl_text, three_mf};
use foundry::mesh::{
    Limits, Mesh, Unit, guess_unit, measure, measure_mesh, read_within, silhouette_xy,
};
use foundry::shapes::{Fault, solid};
use proptest::prelude::*;

mod zipped;

static FILES: LazyLock<Vec<Vec<u8>>> = LazyLock::new(|| {
    let mesh = solid::torus(10.0, 2.0, 9, 7);
    let packed = three_mf(&mesh, "t", Unit::Inch).unwrap();
    let xml_at = packed.windows(5).position(|w| w == b"<mode").unwrap();
    let xml_end = packed.windows(8).position(|w| w == b"</model>").unwrap() + 8;
    vec![
        stl_binary(&mesh, "t").unwrap(),
        stl_text(&mesh, "t"),
        obj(&mesh, "t"),
        ply(&mesh, PlyEncoding::Text),
        ply(&mesh, PlyEncoding::LittleEndian),
        ply(&mesh, PlyEncoding::BigEndian),
        zipped::archive(&[("3D/3dmodel.model", &packed[xml_at..xml_end])]),
        packed,
    ]
});

/// Reads and, when that succeeds, does all that is done with a model.
fn digest(bytes: &[u8]) {
    let limits = Limits { triangles: 100_000, unpacked_bytes: 1 << 24, ..Limits::default() };
    let Ok(model) = read_within(bytes, "x.stl", &limits) else { return };
    let _ = guess_unit(&model);
    for unit in Unit::ALL {
        if let Ok(measure) = measure(&model, unit) {
            check(&measure);
        }
    }
    let _ = silhouette_xy(&model.mesh);
    let options = RenderOptions { width: 8, height: 8, ..RenderOptions::default() };
    let _ = render(&model.mesh, &options);
}

/// What must hold for any surface.
fn check(measure: &foundry::mesh::Measure) {
    assert!(measure.area.get() >= 0.0);
    if let Some(volume) = measure.volume {
        // No body of this area is larger than a ball.
        let ball =
            (measure.area.get() / std::f64::consts::PI).powf(1.5) * std::f64::consts::PI / 6.0;
        assert!(volume.get() <= ball * (1.0 + 1e-9) + 1e-9);
        assert!(
            measure.gravest().is_none_or(|p| p.kind.gravity() < foundry::mesh::Gravity::Blocking)
        );
    } else {
        assert!(!measure.problems.is_empty());
    }
    for problem in &measure.problems {
        assert!(problem.count > 0 && !problem.advice().is_empty());
        assert!(problem.spot.middle().iter().all(|c| c.is_finite()));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn random_bytes_do_no_harm(bytes in prop::collection::vec(any::<u8>(), 0..2000)) {
        digest(&bytes);
    }

    #[test]
    fn random_bytes_behind_a_good_beginning_do_no_harm(
        which in 0..8_usize,
        keep in 0.0..1.0_f64,
        bytes in prop::collection::vec(any::<u8>(), 0..500),
    ) {
        let file = &FILES[which];
        let mut all = file[..(keep * file.len() as f64) as usize].to_vec();
        all.extend(bytes);
        digest(&all);
    }

    #[test]
    fn files_with_changed_bytes_do_no_harm(
        which in 0..8_usize,
        changes in prop::collection::vec((0.0..1.0_f64, any::<u8>()), 1..12),
        cut in prop::option::of(0.0..1.0_f64),
    ) {
        let mut file = FILES[which].clone();
        for (place, byte) in changes {
            let at = (place * file.len() as f64) as usize;
            file[at] = byte;
        }
        if let Some(cut) = cut {
            file.truncate((cut * file.len() as f64) as usize);
        }
        digest(&file);
    }

    #[test]
    fn texts_with_exchanged_words_do_no_harm(
        which in 1..4_usize,
        swaps in prop::collection::vec((0.0..1.0_f64, 0.0..1.0_f64), 1..6),
        odd in prop::sample::select(vec!["1e308", "-1e-308", "nan", "4294967296", "-1", "0", "facet", "\u{fffd}", "."]),
        odd_at in 0.0..1.0_f64,
    ) {
        let text = String::from_utf8(FILES[which].clone()).unwrap();
        let mut words: Vec<&str> = text.split_inclusive([' ', '\n']).collect();
        let last = words.len() as f64;
        for (a, b) in swaps {
            words.swap((a * last) as usize, (b * last) as usize);
        }
        let odd = format!("{odd} ");
        words[(odd_at * last) as usize] = &odd;
        digest(words.concat().as_bytes());
    }

    #[test]
    fn random_triangles_on_few_points_do_no_harm(
        points in prop::collection::vec(prop::array::uniform3(-3..3_i32), 3..9),
        picks in prop::collection::vec(prop::array::uniform3(0..1000_u32), 1..40),
    ) {
        let count = points.len() as u32;
        let vertices = points.into_iter().map(|p| p.map(f64::from)).collect();
        let triangles = picks.into_iter().map(|t| t.map(|pick| pick % count)).collect();
        let mesh = Mesh::new(vertices, triangles).unwrap().welded();
        check(&measure_mesh(&mesh).unwrap());
        let _ = silhouette_xy(&mesh);
        for fault in Fault::ALL {
            let _ = fault.put_into(&mesh, 7);
        }
    }
}
