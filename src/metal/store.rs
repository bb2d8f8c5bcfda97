//! All SQL that writes lots of bought metal; the ledger itself is in its own module.

use sqlx::PgConnection;

use super::forms::BuyForm;
use crate::id::{AlloyId, MetalLotId};

/// Notes a bought lot; none when it is in the ledger already. One whose entry was
/// reversed may be noted again. Its currency is the studio's, held until the end so
/// that it cannot change meanwhile.
pub(super) async fn insert_lot(
    conn: &mut PgConnection,
    bought: &BuyForm,
) -> Result<Option<MetalLotId>, sqlx::Error> {
    let currency: String = sqlx::query_scalar("SELECT currency::text FROM studio FOR SHARE")
        .fetch_one(&mut *conn)
        .await?;
    sqlx::query_scalar(
        "INSERT INTO metal_lots (id, alloy_id, lot, bought_cg, bought_on, price_per_g, currency, supplier)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
         ON CONFLICT (alloy_id, lot) DO UPDATE SET bought_cg = EXCLUDED.bought_cg, bought_on = EXCLUDED.bought_on,
           price_per_g = EXCLUDED.price_per_g, currency = EXCLUDED.currency, supplier = EXCLUDED.supplier
         WHERE NOT EXISTS (SELECT 1 FROM metal_batches b WHERE b.lot_id = metal_lots.id
           AND NOT EXISTS (SELECT 1 FROM metal_batches r WHERE r.reverses = b.id))
         RETURNING id",
    )
    .bind(MetalLotId::new())
    .bind(bought.alloy)
    .bind(&bought.lot)
    .bind(bought.cg)
    .bind(bought.bought_on)
    .bind(bought.price_per_g)
    .bind(bought.price_per_g.map(|_| currency))
    .bind(&bought.supplier)
    .fetch_optional(conn)
    .await
}

/// Whether there is such an alloy.
pub(super) async fn alloy_known(
    conn: &mut PgConnection,
    alloy: AlloyId,
) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar("SELECT EXISTS (SELECT 1 FROM alloys WHERE id = $1)")
        .bind(alloy)
        .fetch_one(conn)
        .await
}
