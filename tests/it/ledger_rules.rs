//! What the database itself refuses of the metal ledger and of clients' accounts, whoever asks.

use sqlx::PgPool;

use crate::support::builders_orders::alloy;
use crate::support::studio::Studio;

/// Two accounts of an alloy, one with another alloy.
async fn accounts(pool: &PgPool) {
    let silver = alloy(pool, "Test silver", 10.0).await;
    let bronze = alloy(pool, "Test bronze", 8.5).await;
    sqlx::query(
        "INSERT INTO metal_accounts (id, kind, alloy_id) VALUES
           ('00000000-0000-7000-8000-000000000001', 'supplier', $1),
           ('00000000-0000-7000-8000-000000000002', 'fresh', $1),
           ('00000000-0000-7000-8000-000000000003', 'fresh', $2)",
    )
    .bind(silver)
    .bind(bronze)
    .execute(pool)
    .await
    .unwrap();
}

/// Makes a batch with postings of `(account, centigrams)` in a transaction of its own; the
/// constraint that refused it, if one did.
async fn batch(pool: &PgPool, id: u8, postings: &[(u8, i64)]) -> Result<(), String> {
    let mut tx = pool.begin().await.unwrap();
    sqlx::query("INSERT INTO metal_batches (id, kind, at) VALUES ($1::uuid, 'counted', now())")
        .bind(format!("00000000-0000-7000-8000-0000000001{id:02}"))
        .execute(&mut *tx)
        .await
        .unwrap();
    for posting in postings {
        post(&mut tx, id, *posting).await?;
    }
    tx.commit().await.map_err(constraint)
}

async fn post(
    conn: &mut sqlx::PgConnection,
    batch: u8,
    (account, cg): (u8, i64),
) -> Result<(), String> {
    sqlx::query(
        "INSERT INTO metal_postings (batch_id, account_id, cg) VALUES ($1::uuid, $2::uuid, $3)",
    )
    .bind(format!("00000000-0000-7000-8000-0000000001{batch:02}"))
    .bind(format!("00000000-0000-7000-8000-0000000000{account:02}"))
    .bind(cg)
    .execute(conn)
    .await
    .map(|_| ())
    .map_err(constraint)
}

fn constraint(error: sqlx::Error) -> String {
    let error = error.into_database_error().expect("the database refuses it");
    error.constraint().unwrap_or(error.message()).to_owned()
}

async fn postings(pool: &PgPool) -> (i64, i64) {
    sqlx::query_as("SELECT count(*), coalesce(sum(cg), 0)::bigint FROM metal_postings")
        .fetch_one(pool)
        .await
        .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn no_posting_can_leave_a_batch_unbalanced() {
    let studio = Studio::open().await;
    let pool = &studio.db.pool;
    accounts(pool).await;
    let refused = Err("metal_batch_balances".to_owned());
    assert_eq!(batch(pool, 1, &[(1, -500)]).await, refused, "one side alone");
    assert_eq!(batch(pool, 2, &[(1, -500), (2, 499)]).await, refused, "a centigram short");
    assert_eq!(batch(pool, 3, &[(1, -500), (3, 500)]).await, refused, "silver is not bronze");
    assert_eq!(postings(pool).await, (0, 0), "and nothing of them is left");
    assert_eq!(batch(pool, 4, &[(1, -500), (2, 300), (2, 200)]).await, Ok(()));
    assert_eq!(postings(pool).await, (3, 0));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_posting_is_neither_changed_nor_removed_nor_slipped_in_later() {
    let studio = Studio::open().await;
    let pool = &studio.db.pool;
    accounts(pool).await;
    batch(pool, 1, &[(1, -500), (2, 500)]).await.unwrap();
    for (sql, refusal) in [
        ("UPDATE metal_postings SET cg = cg * 2", "metal_postings_append_only"),
        ("DELETE FROM metal_postings", "metal_postings_append_only"),
        ("TRUNCATE metal_postings", "metal_postings_append_only"),
        ("UPDATE metal_batches SET at = at - interval '1 year'", "metal_batches_append_only"),
        ("DELETE FROM metal_batches", "metal_batches_append_only"),
        ("TRUNCATE metal_batches CASCADE", "metal_batches_append_only"),
        ("TRUNCATE client_entries CASCADE", "client_entries_append_only"),
        ("TRUNCATE settlements", "settlements_append_only"),
    ] {
        let refused = sqlx::query(sql).execute(pool).await.unwrap_err();
        assert_eq!(constraint(refused), refusal, "{sql}");
    }
    // What balances by itself is refused too: the batch was whole when its transaction ended.
    let mut tx = pool.begin().await.unwrap();
    let late = post(&mut tx, 1, (1, -100)).await;
    assert_eq!(late, Err("metal_batches_closed".to_owned()));
    drop(tx);
    assert_eq!(postings(pool).await, (2, 0));
}
