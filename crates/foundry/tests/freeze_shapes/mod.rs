//! Meshes for the tests, drawn by formula.
#![allow(
    dead_code,
    unreachable_pub,
    clippy::unwrap_used,
    reason = "each test file uses some of them and may stop at a surprise"
)]

use foundry::freeze::{Conditions, MetalHeat, MouldHeat, Spread};
use foundry::source::Source;

/// A mesh: corners and triangles.
pub type Mesh = (Vec<[f64; 3]>, Vec<[u32; 3]>);

/// A box from one corner to the opposite one.
pub fn cuboid(low: [f64; 3], high: [f64; 3]) -> Mesh {
    let vertices = (0..8)
        .map(|i| std::array::from_fn(|a| if i >> a & 1 == 1 { high[a] } else { low[a] }))
        .collect();
    let quads =
        [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
    let triangles = quads.iter().flat_map(|q| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]).collect();
    (vertices, triangles)
}

/// A closed surface over a rectangle of parameters that wraps both ways.
fn wrapped(around: usize, along: usize, at: impl Fn(f64, f64) -> [f64; 3]) -> Mesh {
    let tau = std::f64::consts::TAU;
    let mut vertices = Vec::new();
    let mut triangles = Vec::new();
    for i in 0..around {
        for j in 0..along {
            vertices.push(at(tau * i as f64 / around as f64, tau * j as f64 / along as f64));
            let n = |i: usize, j: usize| ((i % around) * along + j % along) as u32;
            let (a, b, c, d) = (n(i, j), n(i + 1, j), n(i + 1, j + 1), n(i, j + 1));
            triangles.push([a, b, c]);
            triangles.push([a, c, d]);
        }
    }
    (vertices, triangles)
}

/// A ring around the y axis whose round section has a radius that may change along it.
pub fn ring(radius: f64, section: impl Fn(f64) -> f64) -> Mesh {
    wrapped(192, 32, |u, v| {
        let r = section(u);
        let out = radius + r * v.cos();
        [out * u.cos(), r * v.sin(), out * u.sin()]
    })
}

/// Something turned about the z axis from a profile of (radius, z) that starts and ends on the axis.
pub fn turned(profile: &[(f64, f64)], around: usize) -> Mesh {
    let mut vertices = vec![[0.0, 0.0, profile[0].1]];
    let inner = &profile[1..profile.len() - 1];
    for &(r, z) in inner {
        for i in 0..around {
            let u = std::f64::consts::TAU * i as f64 / around as f64;
            vertices.push([r * u.cos(), r * u.sin(), z]);
        }
    }
    let top = vertices.len() as u32;
    vertices.push([0.0, 0.0, profile[profile.len() - 1].1]);
    let n = |k: usize, i: usize| (1 + k * around + i % around) as u32;
    let mut triangles = Vec::new();
    for i in 0..around {
        triangles.push([0, n(0, i + 1), n(0, i)]);
        for k in 0..inner.len() - 1 {
            triangles.push([n(k, i), n(k, i + 1), n(k + 1, i + 1)]);
            triangles.push([n(k, i), n(k + 1, i + 1), n(k + 1, i)]);
        }
        triangles.push([n(inner.len() - 1, i), n(inner.len() - 1, i + 1), top]);
    }
    (vertices, triangles)
}

/// A ball.
pub fn sphere(radius: f64, around: usize) -> Mesh {
    let half = around / 2;
    let profile: Vec<(f64, f64)> = (0..=half)
        .map(|k| {
            let t = std::f64::consts::PI * k as f64 / half as f64;
            (radius * t.sin(), -radius * t.cos())
        })
        .collect();
    turned(&profile, around)
}

/// A cylinder about the z axis, its middle at the origin.
pub fn cylinder(radius: f64, height: f64, around: usize) -> Mesh {
    let h = 0.5 * height;
    turned(&[(0.0, -h), (radius, -h), (radius, h), (0.0, h)], around)
}

/// Exactly this number.
pub fn exactly(value: f64) -> Spread {
    Spread::new(value, value, value, Source::Entered)
}

/// A metal with one melting point.
pub struct Pure {
    pub melts_c: f64,
    pub density: f64,
    pub latent_kj_kg: f64,
    pub heat: [f64; 2],
    pub conducts: [f64; 2],
}

impl Pure {
    pub fn metal(&self) -> MetalHeat {
        MetalHeat {
            name: "test metal".into(),
            solidus_c: exactly(self.melts_c),
            liquidus_c: exactly(self.melts_c),
            solvent_melts_c: None,
            density_kg_m3: exactly(self.density),
            latent_kj_kg: exactly(self.latent_kj_kg),
            solid_j_kgk: exactly(self.heat[0]),
            liquid_j_kgk: exactly(self.heat[1]),
            solid_w_mk: exactly(self.conducts[0]),
            liquid_w_mk: exactly(self.conducts[1]),
            freezing_shrinkage: exactly(0.05),
        }
    }

    /// In a mould of these conductivity, density and specific heat.
    pub fn cast(&self, mould: [f64; 3], flask_c: f64, superheat: f64, level: f64) -> Conditions {
        Conditions {
            metal: self.metal(),
            mould: MouldHeat {
                conductivity_w_mk: exactly(mould[0]),
                density_kg_m3: exactly(mould[1]),
                specific_j_kgk: exactly(mould[2]),
            },
            pour_c: self.melts_c + superheat,
            flask_c,
            feeds_until_solid: level,
        }
    }
}

/// A block of 8 mm with a bar of 3 mm, on the faces of 0.5 mm voxels.
pub fn block_and_bar() -> Mesh {
    let (mut vertices, mut triangles) = cuboid([28.0; 3], [36.0; 3]);
    let bar = cuboid([32.0, 30.5, 30.5], [52.0, 33.5, 33.5]);
    let first = vertices.len() as u32;
    vertices.extend(bar.0);
    triangles.extend(bar.1.into_iter().map(|t| t.map(|v| v + first)));
    (vertices, triangles)
}

/// Sterling silver poured at 993 °C into investment at 538 °C.
pub fn sterling() -> Conditions {
    let mut conditions = Conditions::usual(foundry::freeze::heat_of("sterling").unwrap());
    conditions.pour_c = 993.0;
    conditions
}
