//! Saving the studio in a file and bringing it back.

use std::fs;
use std::path::{Path, PathBuf};

use pourday::db::{self, DbRefusal, Source};
use sha2::{Digest, Sha256};
use sqlx::PgPool;
use sqlx::postgres::PgPoolOptions;
use tempfile::TempDir;

use crate::support::database::TestDatabase;
use crate::support::digest::everything;

/// Long binary rows as photos and model files are kept, text beyond ASCII, and figures.
async fn fill(pool: &PgPool) {
    for sql in [
        "CREATE TABLE chunks (id bigint PRIMARY KEY, bytes bytea NOT NULL)",
        "CREATE TABLE notes (id uuid PRIMARY KEY DEFAULT gen_random_uuid(), \
         said text, grams numeric(12,4), at timestamptz)",
        "INSERT INTO chunks SELECT n, decode(repeat(md5(n::text), 2048), 'hex') \
         FROM generate_series(1, 40) n",
        "INSERT INTO notes (said, grams, at) SELECT 'Gießbaum – Größe ⌀ ' || n, n / 7.0, \
         timestamptz '2026-03-29 00:30:00+00' + n * interval '1 hour' FROM generate_series(1, 500) n",
    ] {
        sqlx::query(sql).execute(pool).await.unwrap();
    }
}

struct Scene {
    studio: TestDatabase,
    folder: TempDir,
}

impl Scene {
    async fn filled() -> Self {
        let scene = Self::new().await;
        fill(&scene.studio.pool).await;
        scene
    }

    async fn new() -> Self {
        Self { studio: TestDatabase::new().await, folder: tempfile::tempdir().unwrap() }
    }

    async fn without_tables() -> Self {
        Self { studio: TestDatabase::empty().await, folder: tempfile::tempdir().unwrap() }
    }

    fn source(&self) -> Source {
        Source::Url(self.studio.url.clone())
    }

    fn file(&self) -> PathBuf {
        self.folder.path().join("studio.backup")
    }

    /// A new pool: the studio's own must be closed while it is replaced.
    async fn reopen(&self) -> PgPool {
        PgPoolOptions::new().max_connections(1).connect(&self.studio.url).await.unwrap()
    }

    fn files(&self) -> Vec<String> {
        let entries = fs::read_dir(self.folder.path()).unwrap();
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect()
    }
}

#[tokio::test]
async fn nothing_is_lost_between_backup_and_restore() {
    let from = Scene::filled().await;
    let before = everything(&from.studio.pool).await;
    assert_eq!(before["public.chunks"].0, 40);
    let made = db::back_up(from.source(), &from.file()).await.unwrap();
    assert_eq!(made.bytes, from.file().metadata().unwrap().len());
    assert_eq!(from.files(), ["studio.backup"], "no part of a file is left");

    for to in [Scene::new().await, Scene::without_tables().await] {
        to.studio.pool.close().await;
        let restored = db::restore(to.source(), &from.file(), false).await.unwrap();
        assert_eq!(restored.made_at, made.made_at);
        assert_eq!(restored.former, None, "an empty studio is not worth keeping");
        assert_eq!(everything(&to.reopen().await).await, before);
    }
}

#[tokio::test]
async fn a_backup_is_for_its_owner_alone_and_never_takes_the_place_of_a_file() {
    use std::os::unix::fs::PermissionsExt;
    let scene = Scene::filled().await;
    db::back_up(scene.source(), &scene.file()).await.unwrap();
    let first = fs::read(scene.file()).unwrap();
    assert_eq!(scene.file().metadata().unwrap().permissions().mode() & 0o777, 0o600);
    let again = db::back_up(scene.source(), &scene.file()).await.unwrap_err();
    assert!(matches!(again, DbRefusal::BackupExists { .. }), "{again}");
    assert_eq!(fs::read(scene.file()).unwrap(), first);
}

#[tokio::test]
async fn a_backup_that_cannot_be_written_leaves_nothing_behind() {
    let scene = Scene::new().await;
    let nowhere = scene.folder.path().join("missing/studio.backup");
    let refused = db::back_up(scene.source(), &nowhere).await.unwrap_err();
    assert!(matches!(refused, DbRefusal::BackupFile { .. }), "{refused}");
    assert!(scene.files().is_empty());
}

#[tokio::test]
async fn a_file_cut_short_or_spoilt_anywhere_is_refused_and_changes_nothing() {
    let scene = Scene::filled().await;
    db::back_up(scene.source(), &scene.file()).await.unwrap();
    let whole = fs::read(scene.file()).unwrap();
    let before = everything(&scene.studio.pool).await;
    scene.studio.pool.close().await;
    let spoilt = scene.folder.path().join("spoilt");
    for tenth in 0..=10 {
        let at = (whole.len() - 1) * tenth / 10;
        fs::write(&spoilt, &whole[..at]).unwrap();
        refuses_as_damaged(&scene, &spoilt).await;
        let mut flipped = whole.clone();
        flipped[at] ^= 0x10;
        fs::write(&spoilt, &flipped).unwrap();
        refuses_as_damaged(&scene, &spoilt).await;
    }
    fs::write(&spoilt, [&whole[..], b"\n"].concat()).unwrap();
    refuses_as_damaged(&scene, &spoilt).await;
    assert_eq!(everything(&scene.reopen().await).await, before);
}

async fn refuses_as_damaged(scene: &Scene, file: &Path) {
    let refused = db::restore(scene.source(), file, true).await.unwrap_err();
    assert!(matches!(refused, DbRefusal::BackupDamaged { .. }), "{refused}");
    assert!(refused.to_string().contains("use another copy"), "{refused}");
}

#[tokio::test]
async fn a_studio_with_something_in_it_is_replaced_only_when_told_and_can_be_brought_back() {
    let old = Scene::filled().await;
    db::back_up(old.source(), &old.file()).await.unwrap();
    let backed_up = everything(&old.studio.pool).await;
    sqlx::query("DELETE FROM notes").execute(&old.studio.pool).await.unwrap();
    let later = everything(&old.studio.pool).await;
    old.studio.pool.close().await;

    let refused = db::restore(old.source(), &old.file(), false).await.unwrap_err();
    assert!(matches!(&refused, DbRefusal::StudioNotEmpty { holds } if holds.contains("chunks")));
    assert_eq!(everything(&old.reopen().await).await, later);

    let restored = db::restore(old.source(), &old.file(), true).await.unwrap();
    assert!(restored.former.is_some());
    assert_eq!(everything(&old.reopen().await).await, backed_up);

    db::undo_restore(old.source()).await.unwrap();
    assert_eq!(everything(&old.reopen().await).await, later);
    db::undo_restore(old.source()).await.unwrap();
    assert_eq!(everything(&old.reopen().await).await, backed_up);
}

#[tokio::test]
async fn without_a_restore_there_is_nothing_to_undo() {
    let scene = Scene::new().await;
    let refused = db::undo_restore(scene.source()).await.unwrap_err();
    assert!(matches!(refused, DbRefusal::NothingReplaced), "{refused}");
}

#[tokio::test]
async fn a_studio_in_use_is_not_replaced() {
    let scene = Scene::filled().await;
    db::back_up(scene.source(), &scene.file()).await.unwrap();
    let before = everything(&scene.studio.pool).await;
    let refused = db::restore(scene.source(), &scene.file(), true).await.unwrap_err();
    assert!(matches!(refused, DbRefusal::StudioInUse { .. }), "{refused}");
    assert_eq!(everything(&scene.studio.pool).await, before);
}

/// A file whose last line is right, around any contents.
fn sealed(contents: &[u8], step: i64) -> Vec<u8> {
    let mut file = contents.to_vec();
    file.extend(
        format!("\npourday-backup 1 step={step} made=2026-03-01T04:00:00Z sha256=").bytes(),
    );
    let sum: String = Sha256::digest(&file).iter().map(|byte| format!("{byte:02x}")).collect();
    file.extend(format!("{sum}\n").bytes());
    file
}

#[tokio::test]
async fn when_the_restore_fails_half_way_the_studio_is_as_before() {
    let scene = Scene::filled().await;
    db::back_up(scene.source(), &scene.file()).await.unwrap();
    let dump = fs::read(scene.file()).unwrap();
    let before = everything(&scene.studio.pool).await;
    scene.studio.pool.close().await;
    let file = scene.folder.path().join("half");
    // With a right last line, only pg_restore itself can notice what is missing.
    for contents in [&dump[..dump.len() / 2], &b"PGDMP"[..], b"nonsense"] {
        fs::write(&file, sealed(contents, 1)).unwrap();
        let refused = db::restore(scene.source(), &file, true).await.unwrap_err();
        assert!(matches!(refused, DbRefusal::RestoreFailed { .. }), "{refused}");
    }
    let pool = scene.reopen().await;
    assert_eq!(everything(&pool).await, before);
    let left: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM pg_database WHERE datname = current_database() || '_restoring'",
    )
    .fetch_one(&pool)
    .await
    .unwrap();
    assert_eq!(left, 0);
}

#[tokio::test]
async fn a_backup_of_a_newer_pourday_is_refused() {
    let scene = Scene::new().await;
    let file = scene.folder.path().join("newer");
    fs::write(&file, sealed(b"PGDMP", i64::MAX)).unwrap();
    let refused = db::restore(scene.source(), &file, true).await.unwrap_err();
    assert!(matches!(refused, DbRefusal::NewerThanProgram { .. }), "{refused}");
}
