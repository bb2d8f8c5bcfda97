//! What stands in a kiln, as far as the heat of its firing goes.

use foundry::heat::Binder;
use sqlx::FromRow;

use super::heat_line::Inside;
use super::kiln::KilnFacts;
use super::mould::{Mould, binder};

/// A filled flask by its outside measures.
#[derive(Clone, Copy, Debug, PartialEq, FromRow)]
pub struct FilledFlask {
    /// Outside diameter, mm.
    pub diameter_mm: i32,
    /// Height, mm.
    pub height_mm: i32,
    /// Wall, mm.
    pub wall_mm: f64,
    /// Parts of water to 100 of powder.
    pub water_per_100: f64,
}

impl FilledFlask {
    /// Its inside, for its heat to be computed.
    #[must_use]
    pub fn mould(&self, binder: Binder) -> Mould {
        Mould {
            inside_mm: f64::from(self.diameter_mm) - 2.0 * self.wall_mm,
            height_mm: f64::from(self.height_mm),
            wall_mm: self.wall_mm,
            binder,
            water_per_100: self.water_per_100,
        }
    }

    /// The square of its diameter times its height, mm³: what its heat goes by.
    #[must_use]
    pub fn bulk_mm3(&self) -> f64 {
        f64::from(self.diameter_mm).powi(2) * f64::from(self.height_mm)
    }
}

/// What stands in a kiln: the largest of its flasks, which lags most, and how many like it take up
/// as much heat as all of them. None without a flask.
#[must_use]
pub fn inside(
    flasks: &[FilledFlask],
    investment_kind: &str,
    facts: Option<&KilnFacts>,
) -> Option<Inside> {
    let largest = flasks.iter().max_by_key(|flask| (flask.diameter_mm, flask.height_mm))?;
    let bulk_mm3: f64 = flasks.iter().map(FilledFlask::bulk_mm3).sum();
    Some(Inside {
        mould: largest.mould(binder(investment_kind).unwrap_or_default()),
        flasks: as_many(bulk_mm3, largest),
        kiln: facts.map(KilnFacts::powered),
    })
}

/// How many flasks like this one make up a bulk, rounded up.
#[must_use]
pub fn as_many(bulk_mm3: f64, flask: &FilledFlask) -> u32 {
    // A hair less, for rounding must not make one flask two.
    (bulk_mm3 / flask.bulk_mm3().max(1.0) - 1.0e-9).ceil().clamp(1.0, 1000.0) as u32
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
    use super::*;

    #[test]
    fn small_flasks_beside_a_large_one_count_by_their_bulk() {
        let flask = |diameter_mm, height_mm| FilledFlask {
            diameter_mm,
            height_mm,
            wall_mm: 2.0,
            water_per_100: 40.0,
        };
        let (small, large) = (flask(50, 60), flask(100, 120));
        let told = |flasks: &[FilledFlask]| {
            let inside = inside(flasks, "gypsum", None).unwrap();
            (inside.mould.inside_mm, inside.flasks)
        };
        assert_eq!(told(&[small]), (46.0, 1));
        assert_eq!(told(&[small, small, small]), (46.0, 3));
        // Eight small ones are as much as a large one.
        assert_eq!(told(&[small, large]), (96.0, 2));
        assert_eq!(told(&[&[small; 8][..], &[large]].concat()), (96.0, 2));
        assert_eq!(told(&[&[small; 9][..], &[large]].concat()), (96.0, 3));
        assert_eq!(inside(&[], "gypsum", None), None);
    }
}
