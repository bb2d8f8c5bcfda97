//! What stands on tickets.

use sqlx::{FromRow, PgPool};

use crate::clock::Day;

/// A ticket to print.
#[derive(Clone, Debug, FromRow)]
pub(super) struct TicketRow {
    /// What it is tied to.
    pub(super) subject: String,
    /// What stands on it large: `1042-3`, `201`.
    pub(super) name: String,
    /// What kind of thing it is.
    pub(super) kind: String,
    /// What it is: the design, the flask type, the kiln.
    pub(super) what: String,
    /// The alloy, or what else tells it from others.
    pub(super) of: String,
    /// The labels of the pieces in it; empty for a piece.
    pub(super) labels: String,
    pub(super) due_on: Option<Day>,
}

/// Most tickets on one sheet.
const MOST: i64 = 300;

const PIECES: &str = "SELECT 'piece:' || p.label AS subject, p.label AS name, 'Piece' AS kind, d.name AS what, a.name AS of,
        '' AS labels, o.due_on
    FROM pieces p JOIN orders o ON o.id = p.order_id JOIN order_lines l ON l.id = p.order_line_id
    JOIN alloys a ON a.id = l.alloy_id JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id";

const PLATES: &str = "SELECT 'plate:' || b.number AS subject, b.number::text AS name, 'Plate' AS kind, r.name AS what, s.name AS of,
        inside.labels, inside.due_on
    FROM plates b JOIN printers r ON r.id = b.printer_id JOIN resin_lots l ON l.id = b.resin_lot_id JOIN resins s ON s.id = l.resin_id
    CROSS JOIN LATERAL (SELECT coalesce(string_agg(p.label, ', ' ORDER BY p.label), '') AS labels, min(o.due_on) AS due_on
        FROM plate_pieces x JOIN attempts t ON t.id = x.attempt_id JOIN pieces p ON p.id = t.piece_id JOIN orders o ON o.id = p.order_id
        WHERE x.plate_id = b.id AND (x.left_at IS NULL OR x.left_at = b.ended_at)) inside";

const CURES: &str = "SELECT 'cure:' || b.number AS subject, b.number::text AS name, 'Cure batch' AS kind,
        'wash ' || b.wash_minutes || ' min in ' || b.wash AS what, 'cure ' || b.cure_minutes || ' min in ' || b.medium AS of,
        inside.labels, inside.due_on
    FROM cure_batches b
    CROSS JOIN LATERAL (SELECT coalesce(string_agg(p.label, ', ' ORDER BY p.label), '') AS labels, min(o.due_on) AS due_on
        FROM cure_batch_pieces x JOIN attempts t ON t.id = x.attempt_id JOIN pieces p ON p.id = t.piece_id JOIN orders o ON o.id = p.order_id
        WHERE x.cure_batch_id = b.id AND (x.left_at IS NULL OR x.left_at = b.ended_at)) inside";

const FLASKS: &str = "SELECT 'flask:' || f.number AS subject, f.number::text AS name, 'Flask' AS kind,
        t.name || ', ' || t.diameter_mm || ' × ' || t.height_mm || ' mm' AS what, a.name AS of, inside.labels, inside.due_on
    FROM flasks f JOIN flask_types t ON t.id = f.flask_type_id JOIN alloys a ON a.id = f.alloy_id
    CROSS JOIN LATERAL (SELECT coalesce(string_agg(p.label, ', ' ORDER BY p.label), '') AS labels, min(o.due_on) AS due_on
        FROM flask_pieces x JOIN attempts y ON y.id = x.attempt_id JOIN pieces p ON p.id = y.piece_id JOIN orders o ON o.id = p.order_id
        WHERE x.flask_id = f.id AND x.left_at IS NULL) inside";

const LOADS: &str = "SELECT 'load:' || l.number AS subject, l.number::text AS name, 'Load' AS kind, k.name AS what,
        b.name || ', class ' || l.size_class AS of, inside.labels, NULL::date AS due_on
    FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id JOIN burnout_families b ON b.id = l.family_id
    CROSS JOIN LATERAL (SELECT coalesce('flasks ' || string_agg(f.number::text, ', ' ORDER BY f.number), '') AS labels
        FROM kiln_load_flasks x JOIN flasks f ON f.id = x.flask_id WHERE x.kiln_load_id = l.id AND x.left_at IS NULL) inside";

/// The tickets that a choice such as `order:1042`, `plate:41` or `open:flasks` asks for.
pub(super) async fn tickets(pool: &PgPool, of: &str) -> Result<Vec<TicketRow>, sqlx::Error> {
    let (kind, which) = of.split_once(':').unwrap_or((of, ""));
    let sql = match (kind, which) {
        ("open", "pieces") => format!(
            "{PIECES} WHERE p.standing IN ('waiting', 'in_hand') ORDER BY o.due_on NULLS LAST, o.number, p.n LIMIT $2"
        ),
        ("open", "plates") => {
            format!("{PLATES} WHERE b.state IN ('open', 'printing') ORDER BY b.number LIMIT $2")
        }
        ("open", "cure") => format!(
            "{CURES} WHERE b.state IN ('open', 'washing', 'curing') ORDER BY b.number LIMIT $2"
        ),
        ("open", "flasks") => format!(
            "{FLASKS} WHERE f.state NOT IN ('divested', 'cancelled') ORDER BY f.number LIMIT $2"
        ),
        ("open", "loads") => format!(
            "{LOADS} WHERE l.state IN ('planned', 'burning', 'held') ORDER BY l.number LIMIT $2"
        ),
        ("piece", _) => format!("{PIECES} WHERE p.label = $1 LIMIT $2"),
        ("order", _) => format!(
            "{PIECES} WHERE o.number::text = $1 AND p.standing <> 'cancelled' ORDER BY p.n LIMIT $2"
        ),
        ("plate", _) => format!("{PLATES} WHERE b.number::text = $1 LIMIT $2"),
        ("cure", _) => format!("{CURES} WHERE b.number::text = $1 LIMIT $2"),
        ("flask", _) => format!("{FLASKS} WHERE f.number::text = $1 LIMIT $2"),
        ("load", _) => format!("{LOADS} WHERE l.number::text = $1 LIMIT $2"),
        _ => return Ok(Vec::new()),
    };
    // A choice without a number still has its place in the query.
    let sql = if sql.contains("$1") {
        sql
    } else {
        format!("SELECT * FROM ({sql}) every_one WHERE $1 <> ''")
    };
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(which).bind(MOST).fetch_all(pool).await
}
