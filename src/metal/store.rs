//! All SQL that writes lots of bought metal; the ledger itself is in its own module.

use sqlx::PgConnection;

use super::forms::BuyForm;
use crate::id::MetalLotId;

/// Notes a bought lot. Its currency is the studio's, held until the end so that it cannot change meanwhile.
pub(super) async fn insert_lot(
    conn: &mut PgConnection,
    id: MetalLotId,
    bought: &BuyForm,
) -> Result<(), sqlx::Error> {
    let currency: String = sqlx::query_scalar("SELECT currency::text FROM studio FOR SHARE")
        .fetch_one(&mut *conn)
        .await?;
    sqlx::query(
        "INSERT INTO metal_lots (id, alloy_id, lot, bought_cg, bought_on, price_per_g, currency, supplier)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(id)
    .bind(bought.alloy)
    .bind(&bought.lot)
    .bind(bought.cg)
    .bind(bought.bought_on)
    .bind(bought.price_per_g)
    .bind(bought.price_per_g.map(|_| currency))
    .bind(&bought.supplier)
    .execute(conn)
    .await?;
    Ok(())
}
