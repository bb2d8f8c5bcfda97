//! Rows on their way out: read as fast as they are taken, never held.

use std::io;

use axum::body::{Body, Bytes};
use futures_util::StreamExt;
use sqlx::{AssertSqlSafe, Connection, PgConnection, PgPool, Row};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;

use super::datasets::{Dataset, datasets};
use super::encode::{csv_head, csv_row, json_row, json_text};

/// What is gathered before it is sent on.
const CHUNK_BYTES: usize = 32 << 10;
/// Chunks that may wait for a slow line.
const WAITING: usize = 4;

/// The form of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    Csv,
    Json,
}

type Out = mpsc::Sender<io::Result<Bytes>>;

/// Why a stream ended early.
enum Broken {
    /// Nobody reads any more.
    Gone,
    Database(sqlx::Error),
}

impl From<sqlx::Error> for Broken {
    fn from(error: sqlx::Error) -> Self {
        Self::Database(error)
    }
}

/// The body of one data set's file.
pub(super) fn one(pool: PgPool, dataset: &'static Dataset, form: Form) -> Body {
    spawn(move |out| async move {
        let mut conn = pool.acquire().await?;
        let mut gather = Gather::new(&out);
        match form {
            Form::Csv => csv_head(&mut gather.text, dataset.columns),
            Form::Json => gather.text.push('['),
        }
        rows(&mut conn, dataset, form, &mut gather).await?;
        if form == Form::Json {
            gather.text.push_str("\n]\n");
        }
        gather.finish().await
    })
}

/// The body of the file with every data set, all as they were at one moment.
pub(super) fn everything(pool: PgPool) -> Body {
    spawn(move |out| async move {
        let mut conn = pool.acquire().await?;
        let mut tx = conn.begin_with("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY").await?;
        let mut gather = Gather::new(&out);
        for (n, dataset) in datasets().enumerate() {
            gather.text.push_str(if n == 0 { "{\n" } else { ",\n" });
            json_text(&mut gather.text, dataset.name);
            gather.text.push_str(": [");
            rows(&mut tx, dataset, Form::Json, &mut gather).await?;
            gather.text.push_str("\n]");
        }
        gather.text.push_str("\n}\n");
        gather.finish().await?;
        tx.rollback().await?;
        Ok(())
    })
}

/// Runs what writes beside the answer; a fault ends the answer so that it cannot be taken for whole.
fn spawn<F, R>(write: F) -> Body
where
    F: FnOnce(Out) -> R,
    R: Future<Output = Result<(), Broken>> + Send + 'static,
{
    let (out, taken) = mpsc::channel(WAITING);
    let writing = write(out.clone());
    tokio::spawn(async move {
        if let Err(Broken::Database(error)) = writing.await {
            tracing::error!(error.text = %error, "an export broke off");
            let _ = out.send(Err(io::Error::other("the export broke off"))).await;
        }
    });
    Body::from_stream(ReceiverStream::new(taken))
}

async fn rows(
    conn: &mut PgConnection,
    dataset: &Dataset,
    form: Form,
    gather: &mut Gather<'_>,
) -> Result<(), Broken> {
    let sql = dataset.sql();
    let mut rows = sqlx::query(AssertSqlSafe(sql)).fetch(conn);
    let mut first = true;
    while let Some(row) = rows.next().await {
        let row = row?;
        let mut cells = Vec::with_capacity(dataset.columns.len());
        for n in 0..dataset.columns.len() {
            cells.push(row.try_get::<Option<&str>, _>(n)?);
        }
        match form {
            Form::Csv => csv_row(&mut gather.text, dataset.columns, &cells),
            Form::Json => {
                gather.text.push_str(if first { "\n" } else { ",\n" });
                json_row(&mut gather.text, dataset.columns, &cells);
            }
        }
        first = false;
        gather.pass_on().await?;
    }
    Ok(())
}

/// Gathers text and sends it on in chunks.
struct Gather<'a> {
    text: String,
    out: &'a Out,
}

impl<'a> Gather<'a> {
    fn new(out: &'a Out) -> Self {
        Self { text: String::with_capacity(CHUNK_BYTES + 4096), out }
    }

    async fn pass_on(&mut self) -> Result<(), Broken> {
        if self.text.len() < CHUNK_BYTES {
            return Ok(());
        }
        self.send().await
    }

    async fn send(&mut self) -> Result<(), Broken> {
        let chunk = Bytes::copy_from_slice(self.text.as_bytes());
        self.text.clear();
        self.out.send(Ok(chunk)).await.map_err(|_| Broken::Gone)
    }

    async fn finish(mut self) -> Result<(), Broken> {
        self.send().await
    }
}
