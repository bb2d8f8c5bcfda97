//! All SQL that rework writes beside the pieces' own.

use sqlx::{FromRow, PgConnection};

use crate::clock::{Day, Moment};
use crate::flasks::FlaskState;
use crate::id::{AttemptId, OrderId, OrderLineId, PieceId};

/// The flask that a piece stands in, held before the piece as everywhere.
pub(super) async fn hold_batches(
    conn: &mut PgConnection,
    label: &str,
) -> Result<Option<(i32, FlaskState)>, sqlx::Error> {
    sqlx::query(
        "SELECT 1 FROM cure_batches b WHERE b.id IN (SELECT x.cure_batch_id FROM cure_batch_pieces x JOIN attempts t ON t.id = x.attempt_id
             JOIN pieces p ON p.id = t.piece_id WHERE p.label = $1 AND x.left_at IS NULL) FOR UPDATE",
    )
    .bind(label)
    .execute(&mut *conn)
    .await?;
    sqlx::query_as(
        "SELECT f.number, f.state FROM flasks f WHERE f.id IN (SELECT x.flask_id FROM flask_pieces x JOIN attempts t ON t.id = x.attempt_id
             JOIN pieces p ON p.id = t.piece_id WHERE p.label = $1 AND x.left_at IS NULL) FOR UPDATE",
    )
    .bind(label)
    .fetch_optional(conn)
    .await
}

/// Takes an attempt out of the cure batch or off the tree it is on. A tree that was weighed
/// has to be weighed again.
pub(super) async fn leave_batches(
    conn: &mut PgConnection,
    attempt: AttemptId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    for sql in [
        "WITH gone AS (UPDATE cure_batch_pieces SET left_at = $2 WHERE attempt_id = $1 AND left_at IS NULL RETURNING cure_batch_id)
         UPDATE cure_batches SET version = version + 1 WHERE id IN (SELECT cure_batch_id FROM gone)",
        "WITH gone AS (UPDATE flask_pieces SET left_at = $2 WHERE attempt_id = $1 AND left_at IS NULL RETURNING flask_id)
         UPDATE flasks SET state = 'treeing', version = version + 1
         WHERE id IN (SELECT flask_id FROM gone) AND state IN ('treeing', 'weighed')",
    ] {
        sqlx::query(sql).bind(attempt).bind(now).execute(&mut *conn).await?;
    }
    Ok(())
}

/// The attempt that is being made of a piece.
pub(super) async fn attempt_of(
    conn: &mut PgConnection,
    piece: PieceId,
) -> Result<AttemptId, sqlx::Error> {
    sqlx::query_scalar("SELECT id FROM attempts WHERE piece_id = $1 AND ended_at IS NULL")
        .bind(piece)
        .fetch_one(conn)
        .await
}

/// A new order of the same client for pieces of another.
pub(super) async fn split_off(
    conn: &mut PgConnection,
    from: OrderId,
    due_on: Option<Day>,
    now: Moment,
) -> Result<(OrderId, i32), sqlx::Error> {
    let id = OrderId::new();
    let number = sqlx::query_scalar(
        "INSERT INTO orders (id, client_id, title, state, due_on, note, created_at, agreed_at)
         SELECT $1, client_id, left(title, 180) || ', second part', 'agreed', coalesce($3, due_on),
                'Split off from order ' || number || '; its price is agreed there.', $4, coalesce(agreed_at, $4)
         FROM orders WHERE id = $2 RETURNING number",
    )
    .bind(id)
    .bind(from)
    .bind(due_on)
    .bind(now)
    .fetch_one(conn)
    .await?;
    Ok((id, number))
}

#[derive(Clone, Debug, FromRow)]
struct LineOf {
    line: OrderLineId,
    pieces: Vec<PieceId>,
}

/// Moves pieces to another order: lines like theirs are made there, and theirs are shortened.
pub(super) async fn move_pieces(
    conn: &mut PgConnection,
    from: OrderId,
    to: OrderId,
    pieces: &[PieceId],
) -> Result<(), sqlx::Error> {
    let lines: Vec<LineOf> = sqlx::query_as(
        "SELECT p.order_line_id AS line, array_agg(p.id ORDER BY p.n) AS pieces FROM pieces p
         WHERE p.id = ANY($1) AND p.order_id = $2 GROUP BY p.order_line_id ORDER BY min(p.n)",
    )
    .bind(pieces)
    .bind(from)
    .fetch_all(&mut *conn)
    .await?;
    for of in lines {
        let moved = i32::try_from(of.pieces.len()).unwrap_or(i32::MAX);
        let line = OrderLineId::new();
        sqlx::query(
            "INSERT INTO order_lines (id, order_id, n, design_version_id, alloy_id, quantity, finishing_minutes, note)
             SELECT $1, $2, (SELECT coalesce(max(n), 0) + 1 FROM order_lines WHERE order_id = $2), design_version_id, alloy_id,
                    $4, finishing_minutes, note FROM order_lines WHERE id = $3",
        )
        .bind(line)
        .bind(to)
        .bind(of.line)
        .bind(moved)
        .execute(&mut *conn)
        .await?;
        sqlx::query(
            "UPDATE order_lines SET quantity = greatest(quantity - $2, 1),
                    removed_at = CASE WHEN quantity <= $2 THEN (SELECT max(changed_at) FROM pieces WHERE order_line_id = $1) END
             WHERE id = $1",
        )
        .bind(of.line)
        .bind(moved)
        .execute(&mut *conn)
        .await?;
        // A piece keeps its label: that is what its tickets say.
        sqlx::query(
            "UPDATE pieces p SET order_id = $1, order_line_id = $2,
                    n = (SELECT coalesce(max(n), 0) FROM pieces WHERE order_id = $1) + each.place::integer
             FROM unnest($3::uuid[]) WITH ORDINALITY each(id, place) WHERE p.id = each.id",
        )
        .bind(to)
        .bind(line)
        .bind(&of.pieces)
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

/// Brings orders into line with the pieces they have now; one without pieces is over.
pub(super) async fn settle(
    conn: &mut PgConnection,
    orders: &[OrderId],
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE orders o SET version = o.version + 1, state = settled.state,
                closed_at = CASE WHEN settled.state IN ('handed_over', 'cancelled') THEN $2 END
         FROM (SELECT q.id, CASE WHEN count(p.id) = 0 THEN 'cancelled'
                     WHEN count(*) FILTER (WHERE p.standing IN ('waiting', 'in_hand')) > 0 THEN 'agreed'
                     WHEN count(*) FILTER (WHERE p.standing = 'ready') > 0 THEN 'ready'
                     WHEN count(*) FILTER (WHERE p.standing = 'handed_over') > 0 THEN 'handed_over' ELSE 'agreed' END AS state
               FROM orders q LEFT JOIN pieces p ON p.order_id = q.id WHERE q.id = ANY($1) GROUP BY q.id) settled
         WHERE o.id = settled.id",
    )
    .bind(orders)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Whether two pieces are of the same model in the same alloy.
pub(super) async fn same_casting(
    conn: &mut PgConnection,
    one: PieceId,
    other: PieceId,
) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT count(DISTINCT (l.design_version_id, l.alloy_id)) = 1 FROM pieces p
         JOIN order_lines l ON l.id = p.order_line_id WHERE p.id = ANY($1)",
    )
    .bind([one, other])
    .fetch_one(conn)
    .await
}

/// Whether two orders are of the same client.
pub(super) async fn same_client(
    conn: &mut PgConnection,
    one: OrderId,
    other: OrderId,
) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar("SELECT count(DISTINCT client_id) = 1 FROM orders WHERE id = ANY($1)")
        .bind([one, other])
        .fetch_one(conn)
        .await
}

/// How many of these pieces belong to an order.
pub(super) async fn how_many_of(
    conn: &mut PgConnection,
    order: OrderId,
    pieces: &[PieceId],
) -> Result<usize, sqlx::Error> {
    let n: i64 =
        sqlx::query_scalar("SELECT count(*) FROM pieces WHERE id = ANY($1) AND order_id = $2")
            .bind(pieces)
            .bind(order)
            .fetch_one(conn)
            .await?;
    Ok(usize::try_from(n).unwrap_or(0))
}
