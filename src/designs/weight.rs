//! What a design weighs in an alloy, with the working.

use foundry::metal::{self, Density, MetalRefusal};
use foundry::quantity::{CubicMillimetres, Grams, GramsPerCubicCentimetre, Share};
use foundry::source::Source;
use foundry::working::Worked;
use sqlx::{FromRow, PgPool};

use crate::id::AlloyId;

/// An alloy as far as a weight needs it.
#[derive(Clone, Debug, FromRow)]
pub struct AlloyDensity {
    /// Which.
    pub id: AlloyId,
    /// Its name.
    pub name: String,
    /// Its density.
    pub density_g_cm3: f64,
    /// Where the density comes from, in words.
    pub source: String,
}

/// The alloys the studio casts, by name.
pub async fn alloys(pool: &PgPool) -> Result<Vec<AlloyDensity>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name, density_g_cm3, source FROM alloys WHERE retired_at IS NULL ORDER BY lower(name), id",
    )
    .fetch_all(pool)
    .await
}

/// The mass of metal that fills a model's volume, without contraction: what is
/// weighed is a little less, never more.
///
/// # Refuses
/// A volume or a density that is no usable number.
pub fn weigh(
    volume_mm3: f64,
    density_g_cm3: f64,
    density_source: &str,
) -> Result<Worked<Grams>, MetalRefusal> {
    let source = if density_source.trim().is_empty() {
        Source::Entered
    } else {
        Source::Published(density_source.to_owned().into())
    };
    let density = Density {
        value: GramsPerCubicCentimetre::new(density_g_cm3)?,
        tolerance: Share::NONE,
        source,
    };
    metal::metal_mass_from_volume(CubicMillimetres::new(volume_mm3)?, &density, None)
}
