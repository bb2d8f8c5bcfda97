//! Exact solutions of the heat equation, from their series, for the tests of `foundry::heat`.
//!
//! Source: H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, chapters 3, 7
//! and 11 (from memory); the series are also those of Incropera and DeWitt, Fundamentals of Heat
//! and Mass Transfer, chapter 5.

#![allow(dead_code, clippy::unwrap_used, reason = "each test file uses its own part")]

use std::f64::consts::PI;

/// Bessel's J of order 0 or 1 by its integral, which the midpoint rule gives to full precision.
pub(crate) fn bessel(order: i32, x: f64) -> f64 {
    let points = 64 + (4.0 * x.abs()) as usize;
    let sum: f64 = (0..points)
        .map(|n| {
            let theta = PI * (n as f64 + 0.5) / points as f64;
            (f64::from(order) * theta - x * theta.sin()).cos()
        })
        .sum();
    sum / points as f64
}

/// The error function by its series, and by a continued fraction beyond 3.
pub(crate) fn erf(x: f64) -> f64 {
    if x < 3.0 {
        let (mut term, mut sum) = (x, x);
        for n in 1..200 {
            let n = f64::from(n);
            term *= -x * x / n;
            sum += term / (2.0 * n + 1.0);
        }
        return sum * 2.0 / PI.sqrt();
    }
    let tail = (1..60).rev().fold(x, |tail, n| x + f64::from(n) / 2.0 / tail);
    1.0 - (-x * x).exp() / (tail * PI.sqrt())
}

/// The root of a function that changes sign once between two points.
pub(crate) fn root(of: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    let rising = of(high) > 0.0;
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if (of(middle) > 0.0) == rising {
            high = middle;
        } else {
            low = middle;
        }
    }
    (low + high) / 2.0
}

/// One term of a series: root and coefficient.
#[derive(Clone, Copy)]
pub(crate) struct Term {
    pub(crate) zeta: f64,
    pub(crate) c: f64,
}

/// The series of a plane wall: ζ tan ζ = Bi.
pub(crate) fn slab_terms(bi: f64, count: usize) -> Vec<Term> {
    (0..count)
        .map(|n| {
            let foot = n as f64 * PI;
            let zeta = root(|z| z * z.sin() - bi * z.cos(), foot, foot + PI / 2.0);
            // The function changes sign with each branch; `root` follows its direction.
            Term { zeta, c: 4.0 * zeta.sin() / (2.0 * zeta + (2.0 * zeta).sin()) }
        })
        .collect()
}

/// The series of a cylinder: ζ J1(ζ) = Bi J0(ζ).
pub(crate) fn cylinder_terms(bi: f64, count: usize) -> Vec<Term> {
    let residual = |z: f64| z * bessel(1, z) - bi * bessel(0, z);
    let mut terms = Vec::new();
    let (step, mut low) = (0.5, 1.0e-9);
    while terms.len() < count {
        let high = low + step;
        if (residual(low) > 0.0) != (residual(high) > 0.0) {
            let zeta = root(residual, low, high);
            let (j0, j1) = (bessel(0, zeta), bessel(1, zeta));
            terms.push(Term { zeta, c: 2.0 / zeta * j1 / (j0 * j0 + j1 * j1) });
        }
        low = high;
    }
    terms
}

/// A wall's dimensionless temperature at a part of the half thickness.
pub(crate) fn slab(terms: &[Term], fo: f64, x: f64) -> f64 {
    terms.iter().map(|t| t.c * (-t.zeta * t.zeta * fo).exp() * (t.zeta * x).cos()).sum()
}

/// A cylinder's dimensionless temperature at a part of the radius.
pub(crate) fn cylinder(terms: &[Term], fo: f64, r: f64) -> f64 {
    terms.iter().map(|t| t.c * (-t.zeta * t.zeta * fo).exp() * bessel(0, t.zeta * r)).sum()
}

/// A short cylinder heated all round and from both ends, by the product of its two series.
pub(crate) struct ShortCylinder {
    radius_m: f64,
    half_m: f64,
    diffusivity: f64,
    round: Vec<Term>,
    flat: Vec<Term>,
}

impl ShortCylinder {
    pub(crate) fn new(
        radius_m: f64,
        half_m: f64,
        k: f64,
        capacity: f64,
        h: f64,
        terms: usize,
    ) -> Self {
        Self {
            radius_m,
            half_m,
            diffusivity: k / capacity,
            round: cylinder_terms(h * radius_m / k, terms),
            flat: slab_terms(h * half_m / k, terms),
        }
    }

    /// The part of a step of the surroundings that is still to come.
    pub(crate) fn step(&self, seconds: f64, r: f64, z: f64) -> f64 {
        let fo = |length: f64| self.diffusivity * seconds / (length * length);
        cylinder(&self.round, fo(self.radius_m), r) * slab(&self.flat, fo(self.half_m), z)
    }

    /// The temperature after a kiln curve of straight pieces `(s, °C)`, started at `start_c`:
    /// Duhamel's integral in closed form.
    pub(crate) fn firing(
        &self,
        curve: &[(f64, f64)],
        start_c: f64,
        seconds: f64,
        r: f64,
        z: f64,
    ) -> f64 {
        let kiln_c = curve.windows(2).find(|pair| seconds <= pair[1].0).map_or(
            curve[curve.len() - 1].1,
            |pair| {
                pair[0].1
                    + (pair[1].1 - pair[0].1) * (seconds - pair[0].0) / (pair[1].0 - pair[0].0)
            },
        );
        let mut behind = 0.0;
        for a in &self.round {
            for b in &self.flat {
                let shape = a.c * bessel(0, a.zeta * r) * b.c * (b.zeta * z).cos();
                let lambda = self.diffusivity
                    * ((a.zeta / self.radius_m).powi(2) + (b.zeta / self.half_m).powi(2));
                let mut memory = (curve[0].1 - start_c) * (-lambda * seconds).exp();
                for pair in curve.windows(2).filter(|pair| pair[0].0 < seconds) {
                    let slope = (pair[1].1 - pair[0].1) / (pair[1].0 - pair[0].0);
                    let end = pair[1].0.min(seconds);
                    let since = |moment: f64| (-lambda * (seconds - moment)).exp();
                    memory += slope * (since(end) - since(pair[0].0)) / lambda;
                }
                behind += shape * memory;
            }
        }
        kiln_c - behind
    }
}

/// Neumann's λ for one phase: √π λ exp(λ²) erf(λ) = Ste.
pub(crate) fn one_phase_lambda(stefan: f64) -> f64 {
    root(|l| PI.sqrt() * l * (l * l).exp() * erf(l) - stefan, 1.0e-9, 3.0)
}

/// Neumann's λ for two phases of equal properties: surface at `wall` and far field at `far`, both
/// as differences to the melting point, latent heat over capacity `l_over_c`.
pub(crate) fn two_phase_lambda(wall: f64, far: f64, l_over_c: f64) -> f64 {
    let residual = |l: f64| {
        let e = (-l * l).exp();
        wall * e / erf(l) - far * e / (1.0 - erf(l)) - l_over_c * PI.sqrt() * l
    };
    root(residual, 1.0e-9, 3.0)
}
