//! Where the data folder may lie.

use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt};

use pourday::db::{self, DbRefusal, OwnServer, Source};

use super::passable_folder;

fn is_root() -> bool {
    nix::unistd::geteuid().is_root()
}

#[tokio::test]
async fn a_path_too_long_for_a_socket_is_no_hindrance() {
    let folder = passable_folder();
    let data = folder.path().join("a".repeat(90)).join("däta, \"quoted\" and 'spaced' %20");
    let database = db::connect(Source::Own(data.clone())).await.unwrap();
    let socket_dir = database.options().get_socket().unwrap().clone();
    assert!(!socket_dir.starts_with(&data));
    assert_eq!(socket_dir.metadata().unwrap().permissions().mode() & 0o777, 0o700);
    let one: i32 = sqlx::query_scalar("SELECT 1").fetch_one(&database.pool).await.unwrap();
    assert_eq!(one, 1);
    // The address in one line must lead there as well.
    let url = database.own.as_ref().unwrap().address().url("pourday");
    let by_url = db::connect(Source::Url(url)).await.unwrap();
    by_url.close().await.unwrap();
    database.close().await.unwrap();
    assert!(!socket_dir.exists(), "the folder of the socket goes with the server");
}

#[test]
fn nobody_else_may_enter_the_folders() {
    let folder = passable_folder();
    let data = folder.path().join("data");
    let server = OwnServer::start(&data).unwrap();
    let mode = |name: &str| data.join(name).metadata().unwrap().permissions().mode() & 0o777;
    assert_eq!(mode("run"), 0o700);
    assert_eq!(mode("database"), 0o700);
    assert_eq!(mode("database/cluster"), 0o700);
    assert_eq!(mode("database/password"), 0o600);
    assert_eq!(mode("pourday.lock"), 0o600);
    assert_eq!(mode("database.log"), 0o600);
    let owner = data.join("database/cluster").metadata().unwrap().uid();
    assert_ne!(owner, 0, "PostgreSQL does not run as root");
    server.stop().unwrap();
}

#[test]
fn a_folder_that_postgresql_cannot_reach_is_named() {
    if !is_root() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o700)).unwrap();
    let refused = OwnServer::start(&folder.path().join("deep/data")).unwrap_err();
    let expected = folder.path().canonicalize().unwrap();
    assert!(
        matches!(&refused, DbRefusal::NotPassable { blocked_at, .. } if *blocked_at == expected),
        "{refused}"
    );
    assert!(refused.to_string().contains("--data"), "{refused}");
}

#[test]
fn a_folder_that_cannot_be_made_is_refused() {
    let folder = passable_folder();
    let file = folder.path().join("file");
    fs::write(&file, "").unwrap();
    let refused = OwnServer::start(&file.join("data")).unwrap_err();
    assert!(matches!(refused, DbRefusal::Folder { .. }), "{refused}");
}

#[test]
fn data_of_a_version_that_is_not_installed_are_left_alone() {
    let folder = passable_folder();
    let data = folder.path().join("data");
    OwnServer::start(&data).unwrap().stop().unwrap();
    let version = data.join("database/cluster/PG_VERSION");
    let right = fs::read_to_string(&version).unwrap();
    fs::write(&version, "12\n").unwrap();
    let refused = OwnServer::start(&data).unwrap_err();
    assert!(matches!(refused, DbRefusal::OtherMajor { needed: 12, .. }), "{refused}");
    fs::write(&version, right).unwrap();
    OwnServer::start(&data).unwrap().stop().unwrap();
}

#[test]
fn a_server_that_does_not_start_says_why_in_one_line() {
    let folder = passable_folder();
    let data = folder.path().join("data");
    OwnServer::start(&data).unwrap().stop().unwrap();
    let settings = data.join("database/cluster/postgresql.conf");
    fs::write(&settings, "no_such_setting = 1\n").unwrap();
    let refused = OwnServer::start(&data).unwrap_err().to_string();
    assert!(
        refused.contains("no_such_setting") || refused.contains("contains errors"),
        "{refused}"
    );
    assert!(refused.contains("database.log"), "{refused}");
    assert_eq!(refused.lines().count(), 1, "{refused}");
}
