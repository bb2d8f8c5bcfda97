//! What carries a number or a name.

use sqlx::{FromRow, PgPool};

/// Something that was found.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Match {
    /// What kind of thing.
    pub(super) kind: String,
    /// Its number or label.
    pub(super) called: String,
    /// What it is.
    pub(super) words: String,
    /// Its page.
    pub(super) place: String,
}

/// What was typed, read as a number with its kind before it or none: `1018`, `flask 214`, `R6`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Wanted {
    /// Empty is any.
    kind: &'static str,
    called: String,
    /// Whether invoices may be found.
    owner: bool,
}

/// What people write before a number, and the kind they mean.
const WORDS: [(&str, &str); 12] = [
    ("order", "order"),
    ("piece", "piece"),
    ("flask", "flask"),
    ("kiln load", "kiln load"),
    ("load", "kiln load"),
    ("plate", "plate"),
    ("cure batch", "cure batch"),
    ("cure", "cure batch"),
    ("design", "design"),
    ("credit note", "invoice"),
    ("invoice", "invoice"),
    ("ticket", "piece"),
];

impl Wanted {
    pub(super) fn read(typed: &str, owner: bool) -> Self {
        let typed = typed.trim().to_lowercase();
        let after = |word: &str| {
            let rest = typed.strip_prefix(word)?.trim_start_matches([' ', ':', '#', '.']);
            (!rest.is_empty() && rest.starts_with(|c: char| c.is_alphanumeric()))
                .then(|| rest.to_owned())
        };
        let found = WORDS.iter().find_map(|(word, kind)| Some((*kind, after(word)?)));
        let (kind, called) =
            found.unwrap_or_else(|| ("", typed.trim_start_matches('#').to_owned()));
        Self { kind, called, owner }
    }
}

/// Everything whose number or label is just that, at most one of each kind.
pub(super) async fn called(pool: &PgPool, wanted: &Wanted) -> Result<Vec<Match>, sqlx::Error> {
    let number: i32 = wanted.called.parse().unwrap_or(-1);
    sqlx::query_as(
        "SELECT kind, called, words, place FROM (
            SELECT 1 AS rank, 'order' AS kind, o.number::text AS called, o.title || ', ' || c.name AS words,
                   '/orders/' || o.number AS place
            FROM orders o JOIN clients c ON c.id = o.client_id WHERE o.number = $1
            UNION ALL
            SELECT 2, 'piece', p.label, d.name, '/pieces/' || p.label
            FROM pieces p JOIN order_lines l ON l.id = p.order_line_id
            JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
            WHERE p.label = $2
            UNION ALL
            SELECT 3, 'flask', f.number::text, a.name, '/flasks/' || f.number
            FROM flasks f JOIN alloys a ON a.id = f.alloy_id WHERE f.number = $1
            UNION ALL
            SELECT 4, 'kiln load', l.number::text, k.name, '/loads/' || l.number
            FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id WHERE l.number = $1
            UNION ALL
            SELECT 5, 'plate', p.number::text, r.name, '/plates/' || p.number
            FROM plates p JOIN printers r ON r.id = p.printer_id WHERE p.number = $1
            UNION ALL
            SELECT 6, 'cure batch', number::text, '', '/cure/' || number FROM cure_batches WHERE number = $1
            UNION ALL
            SELECT 7, 'invoice', i.label, CASE i.kind WHEN 'invoice' THEN 'invoice for ' ELSE 'credit note for ' END || c.name,
                   '/invoices/' || i.id
            FROM invoices i JOIN clients c ON c.id = i.client_id WHERE $4 AND lower(i.label) = $2
            UNION ALL
            SELECT 8, 'design', number::text, name, '/designs/' || number FROM designs WHERE number = $1
         ) x WHERE $3 = '' OR kind = $3 ORDER BY rank LIMIT 20",
    )
    .bind(number)
    .bind(&wanted.called)
    .bind(wanted.kind)
    .bind(wanted.owner)
    .fetch_all(pool)
    .await
}

/// Clients, orders and designs with those words in their names.
pub(super) async fn named(pool: &PgPool, words: &str) -> Result<Vec<Match>, sqlx::Error> {
    sqlx::query_as(
        "(SELECT 'client' AS kind, name AS called, '' AS words, '/clients/' || id AS place FROM clients
          WHERE strpos(lower(name), lower($1)) > 0 ORDER BY name LIMIT 10)
         UNION ALL
         (SELECT 'order', o.number::text, o.title || ', ' || c.name, '/orders/' || o.number
          FROM orders o JOIN clients c ON c.id = o.client_id
          WHERE strpos(lower(o.title), lower($1)) > 0 ORDER BY o.number DESC LIMIT 10)
         UNION ALL
         (SELECT 'design', number::text, name, '/designs/' || number FROM designs
          WHERE strpos(lower(name), lower($1)) > 0 ORDER BY number DESC LIMIT 10)",
    )
    .bind(words)
    .fetch_all(pool)
    .await
}

#[cfg(test)]
mod tests {
    use super::Wanted;

    #[test]
    fn a_kind_may_stand_before_a_number() {
        let read = |typed: &str| {
            let wanted = Wanted::read(typed, true);
            (wanted.kind, wanted.called)
        };
        assert_eq!(read("1018"), ("", "1018".to_owned()));
        assert_eq!(read(" #1018"), ("", "1018".to_owned()));
        assert_eq!(read("Flask 214"), ("flask", "214".to_owned()));
        assert_eq!(read("flask214"), ("flask", "214".to_owned()));
        assert_eq!(read("load:31"), ("kiln load", "31".to_owned()));
        assert_eq!(read("invoice R6"), ("invoice", "r6".to_owned()));
        assert_eq!(read("R6"), ("", "r6".to_owned()));
        assert_eq!(read("flask"), ("", "flask".to_owned()), "a word without a number");
    }
}
