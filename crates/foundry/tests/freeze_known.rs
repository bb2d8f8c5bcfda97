//! Freezing against solutions in closed form.
#![allow(clippy::unwrap_used, reason = "a test may stop at a surprise")]

mod freeze_shapes;

use std::ops::ControlFlow;

use foundry::freeze::{Conditions, Freezing, Grid, Shape, Voxels, Within, freeze};
use freeze_shapes::{Mesh, Pure, cuboid, cylinder, sphere};

fn run(mesh: &Mesh, grid: Grid, conditions: &Conditions) -> Freezing {
    let shape = Shape { vertices_mm: &mesh.0, triangles: &mesh.1, rods: &[] };
    let voxels = Voxels::cut(&shape, grid).unwrap();
    freeze(&voxels, conditions, Within::Usual, &mut |_| ControlFlow::Continue(())).unwrap()
}

/// A half space of metal from x = 0 on, against a wall held at one
/// temperature: a mould of a million times the metal's heat penetration.
fn against_a_wall(
    metal: &Pure,
    wall_c: f64,
    superheat: f64,
    pitch_mm: f64,
    cells: usize,
) -> Freezing {
    let conditions = metal.cast(
        [metal.conducts[0] * 1e6, metal.density, metal.heat[0] * 1e6],
        wall_c,
        superheat,
        0.5,
    );
    let grid = Grid::new([-4.0 * pitch_mm, -0.5, -0.5], [cells + 4, 1, 1], pitch_mm).unwrap();
    let long = pitch_mm * cells as f64 + 10.0;
    run(&cuboid([0.0, -50.0, -50.0], [long, 50.0, 50.0]), grid, &conditions)
}

/// Largest relative error of the front's place between two depths. The cube
/// at depth x is half solid when the front s = 2λ√(αt) is at its centre.
fn front_error(freezing: &Freezing, lambda: f64, alpha_mm2_s: f64, from: f64, to: f64) -> f64 {
    let mut worst = 0.0_f64;
    let mut seen = 0;
    for voxel in &freezing.voxels {
        let x = freezing.grid.centre_mm(voxel.index as usize)[0];
        if x > from && x < to {
            let front = 2.0 * lambda * (alpha_mm2_s * f64::from(voxel.feeds_until_s)).sqrt();
            worst = worst.max((front / x - 1.0).abs());
            seen += 1;
        }
    }
    assert!(seen >= 19, "only {seen} cubes between {from} and {to} mm");
    worst
}

/// One phase, √π λ exp(λ²) erf λ = Ste (J. Stefan 1891; H. S. Carslaw and
/// J. C. Jaeger, Conduction of Heat in Solids, 1959, §11.2). λ by bisection:
/// Ste 0.2, 1 and 3 give 0.306424, 0.620063 and 0.913751.
#[test]
fn the_front_of_a_melt_at_its_melting_point_follows_stefan() {
    for (ste, lambda) in [(0.2, 0.306424), (1.0, 0.620063), (3.0, 0.913751)] {
        let metal = Pure {
            melts_c: 500.0,
            density: 8000.0,
            latent_kj_kg: 400.0 * 0.4 / ste,
            heat: [400.0, 400.0],
            conducts: [40.0, 40.0],
        };
        let alpha = 40.0 / (8000.0 * 400.0) * 1e6;
        let freezing = against_a_wall(&metal, 100.0, 0.0, 0.1, 100);
        let error = front_error(&freezing, lambda, alpha, 2.0, 8.0);
        assert!(error < 0.01, "Ste {ste}: the front is off by {error}");
    }
}

/// Two phases in a half space (F. Neumann; Carslaw and Jaeger §11.2), all
/// properties one in the unit system of the table, wall −1, melt at 0:
/// superheat 0.2, 1, 0.5 with L 1, 1, 2 give λ 0.549724, 0.377760, 0.383410.
#[test]
fn superheat_slows_the_front_as_neumann_says() {
    for (superheat, latent, lambda) in
        [(0.2, 1.0, 0.549724), (1.0, 1.0, 0.377760), (0.5, 2.0, 0.383410)]
    {
        let metal = Pure {
            melts_c: 500.0,
            density: 8000.0,
            latent_kj_kg: latent * 400.0 * 0.4,
            heat: [400.0, 400.0],
            conducts: [40.0, 40.0],
        };
        let alpha = 40.0 / (8000.0 * 400.0) * 1e6;
        let freezing = against_a_wall(&metal, 100.0, 400.0 * superheat, 0.1, 200);
        let error = front_error(&freezing, lambda, alpha, 2.5, 4.5);
        assert!(error < 0.01, "superheat {superheat}: the front is off by {error}");
    }
}

/// Numbers like silver's with different properties in solid and liquid; wall
/// 550 °C, poured at 1061.8 °C: λ 0.567984 from the two-phase equation.
#[test]
fn a_melt_that_conducts_worse_than_its_solid_follows_neumann() {
    let metal = Pure {
        melts_c: 961.8,
        density: 9320.0,
        latent_kj_kg: 104.7,
        heat: [285.0, 290.0],
        conducts: [360.0, 175.0],
    };
    let alpha = 360.0 / (9320.0 * 285.0) * 1e6;
    let freezing = against_a_wall(&metal, 550.0, 100.0, 0.1, 200);
    let error = front_error(&freezing, 0.567984, alpha, 2.5, 4.5);
    assert!(error < 0.01, "the front is off by {error}");
}

/// Silver in investment at its flask temperature, numbers from memory.
const SILVER: Pure = Pure {
    melts_c: 961.8,
    density: 9320.0,
    latent_kj_kg: 104.7,
    heat: [290.0, 290.0],
    conducts: [360.0, 175.0],
};
const MOULD: [f64; 3] = [0.45, 1230.0, 1000.0];

/// A plate poured at its melting point, the mould's face held there by the
/// metal: t = (π/4)·(ρL/(Tm − T0))²/(kρc)·M², exact for a metal that conducts
/// without limit (M. C. Flemings, Solidification Processing, 1974; from
/// memory). Its faces fall anywhere between the cubes' faces.
#[test]
fn a_plate_in_investment_freezes_in_the_time_its_modulus_gives() {
    // 6.79 s.
    let exact = std::f64::consts::FRAC_PI_4 * (9320.0 * 104.7e3 / (961.8 - 538.0_f64)).powi(2)
        / (0.45 * 1230.0 * 1000.0)
        * 1e-6;
    let conditions = SILVER.cast(MOULD, 538.0, 0.0, 0.7);
    for (pitch, tolerance) in [(1.0, 0.09), (0.5, 0.02), (0.25, 0.005)] {
        for shift in [0.0, 0.13, 0.31, 0.42] {
            let low = pitch * shift;
            let plate = cuboid([low, -50.0, -50.0], [low + 2.0, 50.0, 50.0]);
            let cells = (16.0 / pitch) as usize;
            let grid =
                Grid::new([-pitch * (cells / 2) as f64, -0.5, -0.5], [cells, 1, 1], pitch).unwrap();
            let freezing = run(&plate, grid, &conditions);
            let error = freezing.piece_solid_s() / exact - 1.0;
            assert!(error.abs() < tolerance, "pitch {pitch}, shift {shift}: off by {error}");
        }
    }
}

/// A ball poured at its melting point, its face held there: the heat drawn is
/// k·ΔT·A·(2√(t/(πα)) + t/R), which gives the time in closed form (Carslaw and
/// Jaeger §9.10, region outside a sphere; the freezing time after Flemings).
#[test]
fn a_ball_freezes_in_the_time_conduction_around_a_sphere_gives() {
    let (k, rho_c) = (0.45e-3, 1230.0 * 1000.0 * 1e-9);
    let heat = 9320.0 * 104.7e3 * 1e-9 / (961.8 - 538.0);
    for radius in [2.0_f64] {
        let (a, b, c) =
            (k / radius, 2.0 * (k * rho_c / std::f64::consts::PI).sqrt(), -heat * radius / 3.0);
        let exact = ((-b + (b * b - 4.0 * a * c).sqrt()) / (2.0 * a)).powi(2);
        let conditions = Pure { conducts: [3600.0, 3600.0], ..SILVER }.cast(MOULD, 538.0, 0.0, 0.7);
        for (cubes, tolerance) in [(3.0, 0.10), (6.0, 0.04), (12.0, 0.015)] {
            let pitch = radius / cubes;
            let grid = Grid::around([-radius; 3], [radius; 3], 4.0 * radius, pitch).unwrap();
            let freezing = run(&sphere(radius, 96), grid, &conditions);
            let error = freezing.piece_solid_s() / exact - 1.0;
            assert!(error.abs() < tolerance, "radius {radius}, {cubes} cubes: off by {error}");
        }
    }
}

/// Sphere, cylinder with height = diameter and cube of equal volume: t = B(V/A)²
/// gives 0.0427594 : 0.0326315 : 0.0277778 (N. Chvorinov 1940; the three shapes
/// after S. Kalpakjian and S. Schmid, Manufacturing Engineering and Technology,
/// whose printed figures 0.043, 0.033, 0.028 are from memory). The rule takes
/// the mould as flat. Around a solid body heat also spreads sideways, most
/// around the ball, so every time stays below the rule's own, by up to a third.
#[test]
fn ball_cylinder_and_cube_of_equal_volume_keep_chvorinovs_order() {
    let metal =
        Pure { latent_kj_kg: 50.0, heat: [29.0, 29.0], conducts: [1200.0, 1200.0], ..SILVER };
    let conditions = metal.cast(MOULD, 538.0, 0.0, 0.7);
    let b = std::f64::consts::FRAC_PI_4 * (9320.0 * 50e3 / (961.8 - 538.0_f64)).powi(2)
        / (0.45 * 1230.0 * 1000.0)
        * 1e-6;
    let volume = 216.0_f64;
    let radius = (volume * 0.75 / std::f64::consts::PI).cbrt();
    let round = (volume / (2.0 * std::f64::consts::PI)).cbrt();
    let times = [
        (sphere(radius, 96), 0.0427594),
        (cylinder(round, 2.0 * round, 96), 0.0326315),
        (cuboid([-3.0; 3], [3.0; 3]), 0.0277778),
    ]
    .map(|(mesh, unit)| {
        let grid = Grid::around([-4.0; 3], [4.0; 3], 4.0, 0.4).unwrap();
        let seconds = run(&mesh, grid, &conditions).piece_solid_s();
        // The unit volume's V²/A² grows with the volume to the power 2/3.
        let share = seconds / (b * unit * volume.powf(2.0 / 3.0));
        assert!(share > 0.65 && share < 1.0, "{share} of the rule's time");
        seconds
    });
    assert!(times[0] > 1.05 * times[1] && times[1] > 1.05 * times[2], "{times:?}");
}
