//! Kilns as they are known, and the programmes that run in them.

use std::collections::HashMap;

use sqlx::PgPool;

use super::view;
use crate::kilns::{self, FilledFlask, Inside, KilnFacts, SegmentRow};

/// Programmes by family and size class.
pub(super) type Programmes = HashMap<(String, String), Vec<SegmentRow>>;

/// Kilns as they are known, the programmes, and the binder of each family's investment.
pub(super) struct KnownKilns {
    pub(super) facts: Vec<KilnFacts>,
    pub(super) binders: HashMap<String, String>,
    pub(super) programmes: Programmes,
}

impl KnownKilns {
    /// Reads them.
    pub(super) async fn read(pool: &PgPool) -> Result<Self, sqlx::Error> {
        Ok(Self {
            facts: KilnFacts::list(pool).await?,
            binders: view::binders(pool).await?,
            programmes: view::programmes(pool).await?,
        })
    }

    /// A kiln in use, by its name.
    pub(super) fn facts(&self, kiln: &str) -> Option<&KilnFacts> {
        self.facts.iter().find(|facts| facts.name == kiln)
    }

    /// What stands in a kiln, for its heat to be computed.
    pub(super) fn inside(
        &self,
        kiln: &str,
        family: &str,
        flasks: &[FilledFlask],
    ) -> Option<Inside> {
        let kind = self.binders.get(family).map_or("", String::as_str);
        kilns::inside(flasks, kind, self.facts(kiln))
    }
}
