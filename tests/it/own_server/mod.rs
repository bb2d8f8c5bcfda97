//! The private database server.

mod folder;
mod killed;
mod program;
mod stages;
mod stale;

use std::time::{Duration, Instant};

use pourday::db::{self, DbRefusal, OwnServer, Source};
use tempfile::TempDir;

use crate::support::cluster::fast_folder;
use crate::support::database::TestDatabase;
use crate::support::digest::everything;

/// A folder that the user PostgreSQL runs as can reach.
fn passable_folder() -> TempDir {
    use std::os::unix::fs::PermissionsExt;
    // In memory, where flushing costs nothing: no test here cuts the power.
    let open = std::fs::Permissions::from_mode(0o755);
    tempfile::Builder::new().permissions(open).tempdir_in(fast_folder()).unwrap()
}

fn until(what: &str, mut holds: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !holds() {
        assert!(begun.elapsed() < Duration::from_secs(60), "waited a minute until {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[tokio::test]
async fn every_test_has_a_database_of_its_own() {
    let (one, other) = tokio::join!(TestDatabase::new(), TestDatabase::empty());
    for database in [&one, &other] {
        sqlx::query("CREATE TABLE mine (id int)").execute(&database.pool).await.unwrap();
    }
    assert_ne!(one.url, other.url);
}

#[tokio::test]
async fn what_was_written_is_there_after_a_stop_and_a_start() {
    let folder = passable_folder();
    let source = Source::Own(folder.path().join("data"));
    let database = db::connect(source.clone()).await.unwrap();
    assert!(database.healthy());
    db::migrate(&database.pool).await.unwrap();
    sqlx::query("CREATE TABLE kept AS SELECT 42 AS n").execute(&database.pool).await.unwrap();
    let before = everything(&database.pool).await;
    database.close().await.unwrap();
    let database = db::connect(source).await.unwrap();
    db::migrate(&database.pool).await.unwrap();
    assert_eq!(everything(&database.pool).await, before);
    database.close().await.unwrap();
}

#[tokio::test]
async fn the_server_keeps_what_it_acknowledges_and_listens_to_nobody_else() {
    let folder = passable_folder();
    let database = db::connect(Source::Own(folder.path().join("data"))).await.unwrap();
    for (setting, value) in [
        ("fsync", "on"),
        ("synchronous_commit", "on"),
        ("full_page_writes", "on"),
        ("data_checksums", "on"),
        ("listen_addresses", ""),
        ("unix_socket_permissions", "0700"),
        ("server_encoding", "UTF8"),
        ("TimeZone", "UTC"),
        ("statement_timeout", "1min"),
        ("lock_timeout", "10s"),
    ] {
        let found: String = sqlx::query_scalar("SELECT current_setting($1)")
            .bind(setting)
            .fetch_one(&database.pool)
            .await
            .unwrap();
        assert_eq!(found, value, "{setting}");
    }
    let rules: Vec<(String, String)> =
        sqlx::query_as("SELECT type, auth_method FROM pg_hba_file_rules ORDER BY 1, 2")
            .fetch_all(&database.pool)
            .await
            .unwrap();
    for (kind, method) in rules {
        let expected = if kind == "local" { "scram-sha-256" } else { "reject" };
        assert_eq!(method, expected, "{kind}");
    }
    database.close().await.unwrap();
}

#[tokio::test]
async fn a_wrong_password_does_not_get_in() {
    let folder = passable_folder();
    let database = db::connect(Source::Own(folder.path().join("data"))).await.unwrap();
    let wrong = database.options().clone().password("guessed");
    let refused = sqlx::ConnectOptions::connect(&wrong).await.unwrap_err();
    let code = refused.as_database_error().and_then(|said| said.code());
    // PostgreSQL, appendix A: 28P01 is invalid_password.
    assert_eq!(code.as_deref(), Some("28P01"), "{refused}");
    database.close().await.unwrap();
}

#[tokio::test]
async fn a_second_start_is_told_who_holds_the_folder() {
    let folder = passable_folder();
    let data = folder.path().join("data");
    let first = OwnServer::start(&data).unwrap();
    let refused = OwnServer::start(&data).unwrap_err();
    assert!(matches!(refused, DbRefusal::FolderInUse { .. }), "{refused}");
    assert!(refused.to_string().contains(&format!("process {}", std::process::id())), "{refused}");
    assert!(first.healthy(), "the first is not disturbed");
    first.stop().unwrap();
    OwnServer::start(&data).unwrap().stop().unwrap();
}

#[tokio::test]
async fn a_backup_can_be_made_beside_a_running_program_and_restored_elsewhere() {
    let folder = passable_folder();
    let source = Source::Own(folder.path().join("data"));
    let running = db::connect(source.clone()).await.unwrap();
    db::migrate(&running.pool).await.unwrap();
    sqlx::query("CREATE TABLE kept AS SELECT n FROM generate_series(1, 99) n")
        .execute(&running.pool)
        .await
        .unwrap();
    let before = everything(&running.pool).await;
    let file = folder.path().join("studio.backup");
    db::back_up(source.clone(), &file).await.unwrap();

    let refused = db::restore(source, &file, true).await.unwrap_err();
    assert!(matches!(refused, DbRefusal::FolderInUse { .. }), "{refused}");
    assert_eq!(everything(&running.pool).await, before);
    running.close().await.unwrap();

    let elsewhere = Source::Own(folder.path().join("elsewhere"));
    db::restore(elsewhere.clone(), &file, false).await.unwrap();
    let restored = db::connect(elsewhere).await.unwrap();
    db::migrate(&restored.pool).await.unwrap();
    assert_eq!(everything(&restored.pool).await, before);
    restored.close().await.unwrap();
}
