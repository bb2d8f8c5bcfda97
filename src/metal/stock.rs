//! What is in stock: what a melt can be made of, and what can be put on a scale.

use rust_decimal::Decimal;
use sqlx::{PgExecutor, PgPool};

use super::melt::Stocked;
use super::model::Account;
use crate::id::{AlloyId, ClientId};

/// Alloys in use with what there is of them and what they are made of, by name.
pub(super) async fn stocked(db: impl PgExecutor<'_>) -> Result<Vec<Stocked>, sqlx::Error> {
    type Row = (AlloyId, String, i64, i64, Vec<String>, Vec<Decimal>);
    let rows: Vec<Row> = sqlx::query_as(
        "SELECT l.id, l.name,
                (SELECT coalesce(sum(b.cg), 0)::bigint FROM metal_accounts a JOIN metal_balances b ON b.account_id = a.id
                  WHERE a.alloy_id = l.id AND a.kind = 'fresh'),
                (SELECT coalesce(sum(b.cg), 0)::bigint FROM metal_accounts a JOIN metal_balances b ON b.account_id = a.id
                  WHERE a.alloy_id = l.id AND a.kind = 'returns'),
                coalesce(array_agg(p.metal ORDER BY p.parts_per_thousand DESC, p.metal) FILTER (WHERE p.metal IS NOT NULL), '{}'),
                coalesce(array_agg(p.parts_per_thousand ORDER BY p.parts_per_thousand DESC, p.metal) FILTER (WHERE p.metal IS NOT NULL), '{}')
         FROM alloys l LEFT JOIN alloy_parts p ON p.alloy_id = l.id
         WHERE l.retired_at IS NULL GROUP BY l.id ORDER BY lower(l.name), l.id",
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|(id, name, fresh, returns, metals, shares)| Stocked {
            id,
            name,
            fresh,
            returns,
            parts: metals.into_iter().zip(shares).collect(),
        })
        .collect())
}

/// Something that can be put on the scale.
#[derive(Clone, Debug)]
pub(super) struct Countable {
    pub(super) alloy_id: AlloyId,
    pub(super) alloy: String,
    pub(super) account: Account,
    /// Whose drawer it is.
    pub(super) client: Option<String>,
    pub(super) cg: i64,
}

impl Countable {
    /// The name of its field in the form.
    pub(super) fn field(&self) -> String {
        let client = self.account.client().map(|client| client.to_string()).unwrap_or_default();
        format!("{}_{}{client}", self.account.kind(), self.alloy_id)
    }
}

/// Everything that can be weighed: fresh metal, returns and filings of each alloy in use or in
/// stock, and clients' drawers that are not empty.
pub(super) async fn countable(pool: &PgPool) -> Result<Vec<Countable>, sqlx::Error> {
    type Row = (AlloyId, String, String, Option<ClientId>, Option<String>, i64);
    let rows: Vec<Row> = sqlx::query_as(
        "SELECT l.id, l.name, k.kind, NULL::uuid, NULL::text, coalesce(b.cg, 0)
           FROM alloys l CROSS JOIN (VALUES (1, 'fresh'), (2, 'returns'), (3, 'filings')) AS k (n, kind)
           LEFT JOIN metal_accounts a ON a.alloy_id = l.id AND a.kind = k.kind
           LEFT JOIN metal_balances b ON b.account_id = a.id
          WHERE l.retired_at IS NULL OR b.cg <> 0
         UNION ALL
         SELECT l.id, l.name, 'own', c.id, c.name, b.cg
           FROM metal_accounts a JOIN metal_balances b ON b.account_id = a.id JOIN alloys l ON l.id = a.alloy_id
           JOIN clients c ON c.id = a.client_id WHERE a.kind = 'own' AND b.cg <> 0
         ORDER BY 2, 1, 3, 5",
    )
    .fetch_all(pool)
    .await?;
    Ok(rows
        .into_iter()
        .filter_map(|(alloy_id, alloy, kind, client_id, client, cg)| {
            let account = match (kind.as_str(), client_id) {
                ("fresh", _) => Account::Fresh,
                ("returns", _) => Account::Returns,
                ("filings", _) => Account::Filings,
                ("own", Some(client)) => Account::Own(client),
                _ => return None,
            };
            Some(Countable { alloy_id, alloy, account, client, cg })
        })
        .collect())
}
