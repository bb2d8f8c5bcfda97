//! The tables of files: content in chunks, found again by its digest.

use std::pin::Pin;

use axum::body::Bytes;
use futures_util::{Stream, TryStreamExt};
use sha2::{Digest as _, Sha256};
use sqlx::{FromRow, PgConnection, PgExecutor, PgPool, Row};

use crate::clock::Moment;
use crate::id::FileId;

/// Large enough that a model is few rows, small enough that reading one costs little memory.
const CHUNK: usize = 1 << 20;

/// The content of a file, chunk by chunk.
pub type ContentStream = Pin<Box<dyn Stream<Item = Result<Bytes, sqlx::Error>> + Send>>;

/// What is known about a stored file.
#[derive(Clone, Debug, FromRow)]
pub struct StoredFile {
    /// The file.
    pub id: FileId,
    /// SHA-256 of its content.
    pub sha256: Vec<u8>,
    /// The name it first came with.
    pub name: String,
    /// Its media type.
    pub media_type: String,
    /// How many bytes.
    pub size_bytes: i64,
}

impl StoredFile {
    /// The digest in hexadecimal.
    #[must_use]
    pub fn digest(&self) -> String {
        self.sha256.iter().map(|byte| format!("{byte:02x}")).collect()
    }
}

/// A digest in the making, while a file comes in.
#[derive(Clone, Debug, Default)]
pub struct Digest(Sha256);

impl Digest {
    /// Goes on with the next part of the file.
    pub fn add(&mut self, part: &[u8]) {
        self.0.update(part);
    }
}

/// A file that is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kept {
    /// Which.
    pub id: FileId,
    /// Whether nobody had kept its content before.
    pub new: bool,
}

/// Keeps a file; the same content kept before is found again instead.
pub async fn put(
    conn: &mut PgConnection,
    bytes: &[u8],
    name: &str,
    media_type: &str,
    now: Moment,
) -> Result<FileId, sqlx::Error> {
    let mut digest = Digest::default();
    for chunk in bytes.chunks(CHUNK) {
        digest.add(chunk);
        // A large file is no reason to keep other requests of this thread waiting.
        tokio::task::yield_now().await;
    }
    Ok(put_digested(conn, bytes, digest, (name, media_type), now).await?.id)
}

/// Keeps a file whose digest was made while it came in; otherwise as [`put`].
pub async fn put_digested(
    conn: &mut PgConnection,
    bytes: &[u8],
    digest: Digest,
    (name, media_type): (&str, &str),
    now: Moment,
) -> Result<Kept, sqlx::Error> {
    let digest = digest.0.finalize().to_vec();
    let id = FileId::new();
    let taken = sqlx::query(
        "INSERT INTO files (id, sha256, name, media_type, size_bytes, created_at) VALUES ($1, $2, $3, $4, $5, $6)
         ON CONFLICT (sha256) DO NOTHING",
    )
    .bind(id)
    .bind(&digest)
    .bind(name)
    .bind(media_type)
    .bind(i64::try_from(bytes.len()).unwrap_or(i64::MAX))
    .bind(now)
    .execute(&mut *conn)
    .await?;
    if taken.rows_affected() == 0 {
        let id = sqlx::query_scalar("SELECT id FROM files WHERE sha256 = $1")
            .bind(&digest)
            .fetch_one(&mut *conn)
            .await?;
        return Ok(Kept { id, new: false });
    }
    for (n, chunk) in (0_i32..).zip(bytes.chunks(CHUNK)) {
        sqlx::query("INSERT INTO file_chunks (file_id, n, bytes) VALUES ($1, $2, $3)")
            .bind(id)
            .bind(n)
            .bind(chunk)
            .execute(&mut *conn)
            .await?;
    }
    Ok(Kept { id, new: true })
}

/// Forgets a file that turned out to be of no use, unless something holds on to it meanwhile.
pub async fn forget(pool: &PgPool, id: FileId) -> Result<(), sqlx::Error> {
    match sqlx::query("DELETE FROM files WHERE id = $1").bind(id).execute(pool).await {
        Err(error)
            if error.as_database_error().is_some_and(|held| held.is_foreign_key_violation()) =>
        {
            Ok(())
        }
        done => done.map(|_| ()),
    }
}

/// Finds a file.
pub async fn find(db: impl PgExecutor<'_>, id: FileId) -> Result<StoredFile, sqlx::Error> {
    sqlx::query_as("SELECT id, sha256, name, media_type, size_bytes FROM files WHERE id = $1")
        .bind(id)
        .fetch_one(db)
        .await
}

/// The content of a file, one chunk in memory at a time.
#[must_use]
pub fn content(pool: PgPool, id: FileId) -> ContentStream {
    let chunks = futures_util::stream::try_unfold((pool, 0_i32), move |(pool, n)| async move {
        let row = sqlx::query("SELECT bytes FROM file_chunks WHERE file_id = $1 AND n = $2")
            .bind(id)
            .bind(n)
            .fetch_optional(&pool)
            .await?;
        match row {
            Some(row) => {
                let bytes: Vec<u8> = row.try_get(0)?;
                Ok(Some((Bytes::from(bytes), (pool, n + 1))))
            }
            None => Ok(None),
        }
    });
    Box::pin(chunks)
}

/// The whole content of a file.
pub async fn read(pool: &PgPool, id: FileId) -> Result<Vec<u8>, sqlx::Error> {
    let size = find(pool, id).await?.size_bytes;
    let mut whole = Vec::with_capacity(usize::try_from(size).unwrap_or(0));
    let mut chunks = content(pool.clone(), id);
    while let Some(chunk) = chunks.try_next().await? {
        whole.extend_from_slice(&chunk);
    }
    Ok(whole)
}
