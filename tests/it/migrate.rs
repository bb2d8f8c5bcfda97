//! Bringing a database up to what the program expects.

use pourday::db::{self, DbRefusal};
use sqlx::PgPool;
use sqlx::SqlSafeStr;
use sqlx::migrate::{Migration, MigrationType, Migrator};

use crate::support::database::TestDatabase;

fn steps(steps: &[(i64, &'static str)]) -> Migrator {
    let step = |&(version, sql): &(i64, &'static str)| {
        let kind = MigrationType::Simple;
        Migration::new(version, format!("step {version}").into(), kind, sql.into_sql_str(), false)
    };
    Migrator::with_migrations(steps.iter().map(step).collect())
}

async fn tables(pool: &PgPool) -> Vec<String> {
    sqlx::query_scalar(
        "SELECT tablename::text FROM pg_tables WHERE schemaname = 'public' \
         AND tablename <> '_sqlx_migrations' ORDER BY 1",
    )
    .fetch_all(pool)
    .await
    .unwrap()
}

const FIRST: (i64, &str) = (1, "CREATE TABLE first (id int)");
const SECOND: (i64, &str) = (2, "CREATE TABLE second (id int)");

#[tokio::test]
async fn steps_are_taken_once_and_the_next_program_takes_the_next() {
    let database = TestDatabase::empty().await;
    db::migrate_with(&database.pool, &steps(&[FIRST])).await.unwrap();
    db::migrate_with(&database.pool, &steps(&[FIRST])).await.unwrap();
    assert_eq!(tables(&database.pool).await, ["first"]);
    db::migrate_with(&database.pool, &steps(&[FIRST, SECOND])).await.unwrap();
    assert_eq!(tables(&database.pool).await, ["first", "second"]);
}

#[tokio::test]
async fn the_programs_own_steps_can_be_taken_twice() {
    let database = TestDatabase::new().await;
    db::migrate(&database.pool).await.unwrap();
}

#[tokio::test]
async fn programs_that_start_together_take_each_step_once() {
    let database = TestDatabase::empty().await;
    let slow = (1, "CREATE TABLE first (id int); SELECT pg_sleep(0.3)");
    let steps = steps(&[slow, SECOND]);
    let together = || db::migrate_with(&database.pool, &steps);
    let all = tokio::join!(together(), together(), together(), together());
    for one in [all.0, all.1, all.2, all.3] {
        one.unwrap();
    }
    assert_eq!(tables(&database.pool).await, ["first", "second"]);
}

#[tokio::test]
async fn a_database_newer_than_the_program_is_refused_and_left_alone() {
    let database = TestDatabase::empty().await;
    let third = (3, "CREATE TABLE third (id int)");
    db::migrate_with(&database.pool, &steps(&[FIRST, SECOND, third])).await.unwrap();
    let refused = db::migrate_with(&database.pool, &steps(&[FIRST])).await.unwrap_err();
    assert!(
        matches!(refused, DbRefusal::NewerThanProgram { database: 3, program: 1 }),
        "{refused}"
    );
    assert_eq!(tables(&database.pool).await, ["first", "second", "third"]);
}

#[tokio::test]
async fn a_step_changed_after_it_was_taken_is_refused() {
    let database = TestDatabase::empty().await;
    db::migrate_with(&database.pool, &steps(&[FIRST])).await.unwrap();
    let changed = (1, "CREATE TABLE first (id bigint)");
    let refused = db::migrate_with(&database.pool, &steps(&[changed])).await.unwrap_err();
    assert!(matches!(refused, DbRefusal::MigrationDiffers { version: 1 }), "{refused}");
}

#[tokio::test]
async fn a_step_that_fails_leaves_nothing_of_itself() {
    let database = TestDatabase::empty().await;
    let broken = (2, "CREATE TABLE second (id int); SELECT no_such_function()");
    let refused = db::migrate_with(&database.pool, &steps(&[FIRST, broken])).await.unwrap_err();
    assert!(matches!(refused, DbRefusal::MigrationFailed { version: 2, .. }), "{refused}");
    assert!(refused.to_string().contains("no_such_function"), "{refused}");
    assert_eq!(tables(&database.pool).await, ["first"]);
    // The lock went with the failed try.
    db::migrate_with(&database.pool, &steps(&[FIRST, SECOND])).await.unwrap();
}

#[tokio::test]
async fn a_step_may_take_longer_than_a_page_may() {
    let database = TestDatabase::empty().await;
    let slow =
        (1, "CREATE TABLE limits AS SELECT current_setting('statement_timeout') AS statement");
    db::migrate_with(&database.pool, &steps(&[slow])).await.unwrap();
    let limit: String =
        sqlx::query_scalar("SELECT statement FROM limits").fetch_one(&database.pool).await.unwrap();
    assert_eq!(limit, "0");
}
