//! What an alloy gives off when it is melted, by what is in it.

use sqlx::{FromRow, PgExecutor};

use crate::id::AlloyId;

/// A metal whose fume harms, and what is to be done about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fume {
    /// Its chemical symbol.
    pub symbol: &'static str,
    /// The head of the caution.
    pub head: &'static str,
    /// The caution, with its source.
    pub words: &'static str,
}

/// The metals that are told of; the most dangerous first.
const FUMES: [Fume; 4] = [
    Fume {
        symbol: "Cd",
        head: "Cadmium: do not melt",
        words: "Cadmium boils below the pouring heat of the alloy, and its fume can kill within days of a single exposure. Give the metal to a refiner; do not melt it. OSHA 29 CFR 1910.1027; local rules apply.",
    },
    Fume {
        symbol: "Be",
        head: "Beryllium fume",
        words: "Fume and dust of beryllium cause lasting disease of the lungs in small amounts. Not to be melted or ground without the maker's data sheet, enclosed extraction and medical surveillance. OSHA 29 CFR 1910.1024; local rules apply.",
    },
    Fume {
        symbol: "Pb",
        head: "Lead fume",
        words: "Lead fume poisons slowly and is carried home on clothes. Extraction at the melt, no food or drink near it, wash hands, change clothes; not for anybody pregnant. OSHA 29 CFR 1910.1025; local rules apply.",
    },
    Fume {
        symbol: "Zn",
        head: "Zinc fume",
        words: "Zinc boils at 907 °C, near the pouring heat of brass, and burns to a white smoke that brings metal fume fever: shivering and fever hours later. Extraction at the melt, a cover on it, no hotter than needed; a respirator for fume where extraction is not enough. OSHA 29 CFR 1910.1000, table Z-1, zinc oxide fume; boiling point from memory; local rules apply.",
    },
];

/// The cautions for metals by their symbols.
#[must_use]
pub fn fumes_of<S: AsRef<str>>(symbols: &[S]) -> Vec<&'static Fume> {
    FUMES
        .iter()
        .filter(|fume| symbols.iter().any(|symbol| symbol.as_ref() == fume.symbol))
        .collect()
}

#[derive(FromRow)]
struct PartRow {
    metal: String,
    alloy: String,
}

/// The cautions for some alloys, each with the names of those that need it.
pub async fn fumes(
    db: impl PgExecutor<'_>,
    alloys: &[AlloyId],
) -> Result<Vec<(&'static Fume, String)>, sqlx::Error> {
    let rows: Vec<PartRow> = sqlx::query_as(
        "SELECT DISTINCT p.metal, a.name AS alloy FROM alloy_parts p JOIN alloys a ON a.id = p.alloy_id
         WHERE p.alloy_id = ANY($1) AND p.metal = ANY($2) ORDER BY a.name",
    )
    .bind(alloys)
    .bind(FUMES.map(|fume| fume.symbol))
    .fetch_all(db)
    .await?;
    let named = |fume: &'static Fume| {
        let of: Vec<&str> = rows
            .iter()
            .filter(|row| row.metal == fume.symbol)
            .map(|row| row.alloy.as_str())
            .collect();
        (!of.is_empty()).then(|| (fume, of.join(", ")))
    };
    Ok(FUMES.iter().filter_map(named).collect())
}

#[cfg(test)]
mod tests {
    use super::fumes_of;

    #[test]
    fn brass_warns_of_zinc_and_sterling_of_nothing() {
        let heads = |symbols: &[&str]| -> Vec<_> {
            fumes_of(symbols).into_iter().map(|fume| fume.symbol).collect()
        };
        assert_eq!(heads(&["Cu", "Zn"]), ["Zn"]);
        assert_eq!(heads(&["Ag", "Cd", "Zn"]), ["Cd", "Zn"], "the worst comes first");
        assert!(heads(&["Ag", "Cu"]).is_empty());
    }
}
