//! An order follows its pieces.

use sqlx::PgConnection;

use super::state::OrderState;
use super::store;
use crate::clock::Moment;
use crate::id::OrderId;

/// Brings an order's state in line with its pieces: `ready` when each of them
/// is ready, handed over or cancelled, `handed_over` when none is left with
/// the studio, `agreed` otherwise. Call it in the transaction that recorded
/// something for a piece; calling it again changes nothing.
pub async fn settle(
    conn: &mut PgConnection,
    order: OrderId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    let state: OrderState = sqlx::query_scalar("SELECT state FROM orders WHERE id = $1 FOR UPDATE")
        .bind(order)
        .fetch_one(&mut *conn)
        .await?;
    if !state.has_pieces() {
        return Ok(());
    }
    let (open, ready, with_client): (i64, i64, i64) = sqlx::query_as(
        "SELECT count(*) FILTER (WHERE standing IN ('waiting', 'in_hand')),
                count(*) FILTER (WHERE standing = 'ready'),
                count(*) FILTER (WHERE standing = 'handed_over')
         FROM pieces WHERE order_id = $1",
    )
    .bind(order)
    .fetch_one(&mut *conn)
    .await?;
    let settled = follows(open, ready, with_client);
    if settled != state {
        store::write_state(conn, order, settled, now).await?;
    }
    Ok(())
}

const fn follows(open: i64, ready: i64, with_client: i64) -> OrderState {
    match (open, ready, with_client) {
        (1.., _, _) | (_, 0, 0) => OrderState::Agreed,
        (_, 1.., _) => OrderState::Ready,
        _ => OrderState::HandedOver,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_order_is_as_far_as_the_slowest_of_its_pieces() {
        assert_eq!(follows(1, 5, 0), OrderState::Agreed);
        assert_eq!(follows(0, 5, 0), OrderState::Ready);
        assert_eq!(follows(0, 1, 4), OrderState::Ready);
        assert_eq!(follows(0, 0, 5), OrderState::HandedOver);
        assert_eq!(follows(2, 0, 3), OrderState::Agreed);
        assert_eq!(follows(0, 0, 0), OrderState::Agreed, "every piece was cancelled by itself");
    }
}
