//! Takes model files in: one after the other, each measured and kept before the next is read.

use axum::body::Bytes;
use axum::extract::Multipart;
use axum::http::StatusCode;

use super::reading::{self, Reading};
use crate::clock::Moment;
use crate::files::{self, Kept};
use crate::id::FileId;
use crate::web::{App, Fault, Form, Refused};

/// Text beside the files is short.
const TEXT_BYTES: usize = 64 << 10;
/// Read and thrown away at most, so that a browser sees the answer to a file that was too large.
const DRAINED_TIMES: usize = 4;

/// A model that was read, measured and kept.
#[derive(Clone, Debug)]
pub struct Taken {
    pub(super) name: String,
    pub(super) file: FileId,
    pub(super) picture: FileId,
    pub(super) reading: Reading,
}

impl Taken {
    /// The name of its file.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The field that keeps it in a form which is shown again.
    #[must_use]
    pub fn kept(&self) -> String {
        format!("{} {}", self.file, self.name)
    }
}

/// A file that was turned down, and why.
#[derive(Clone, Debug)]
struct TurnedDown {
    name: String,
    why: String,
    too_large: bool,
}

/// A form with model files in it.
#[derive(Clone, Debug, Default)]
pub struct Intake {
    /// What was typed.
    pub form: Form,
    /// The files that are good.
    pub taken: Vec<Taken>,
    turned_down: Vec<TurnedDown>,
}

impl Intake {
    /// A form without files.
    #[must_use]
    pub fn of(form: Form) -> Self {
        Self { form, ..Self::default() }
    }

    /// Reads a form of parts.
    pub async fn receive(app: &App, now: Moment, mut parts: Multipart) -> Result<Self, Fault> {
        let mut intake = Self::default();
        let most = app.largest_model.saturating_mul(DRAINED_TIMES);
        let mut seen = 0_usize;
        loop {
            let Some(mut part) = parts.next_field().await.map_err(interrupted)? else { break };
            let field = part.name().unwrap_or_default().to_owned();
            let file = part.file_name().map(plain_name);
            let limit = if file.is_some() { app.largest_model } else { TEXT_BYTES };
            let mut bytes = Vec::new();
            let mut digest = files::Digest::default();
            let mut too_large = false;
            while let Some(chunk) = part.chunk().await.map_err(interrupted)? {
                seen = seen.saturating_add(chunk.len());
                if seen > most {
                    return Err(too_much(most).into());
                }
                too_large |= bytes.len() + chunk.len() > limit;
                if too_large {
                    bytes = Vec::new();
                } else {
                    bytes.extend_from_slice(&chunk);
                    if file.is_some() {
                        digest.add(&chunk);
                    }
                }
            }
            match file {
                None if too_large => return Err(too_much(TEXT_BYTES).into()),
                None => intake.form.put(&field, &String::from_utf8_lossy(&bytes)),
                // A file field that was left empty comes as a file without name and content.
                Some(name) if name.is_empty() && bytes.is_empty() && !too_large => {}
                Some(name) if too_large => {
                    let why = too_large_words(app.largest_model);
                    intake.turned_down.push(TurnedDown { name, why, too_large });
                }
                Some(name) => {
                    let bytes = Bytes::from(bytes);
                    let reading =
                        reading::take(bytes.clone(), name.clone(), app.largest_model, None);
                    // Measuring and keeping take about as long; they go on at the same time.
                    let keeping = keep(app, now, &name, &bytes, digest);
                    let (reading, file) = tokio::join!(reading, keeping);
                    intake.take(app, now, name, (reading?, file?)).await?;
                }
            }
        }
        intake.take_kept(app, now).await?;
        Ok(intake)
    }

    /// Takes a file that is kept and was read; one that cannot be read is forgotten again.
    async fn take(
        &mut self,
        app: &App,
        now: Moment,
        name: String,
        (reading, kept): (Result<Reading, String>, Kept),
    ) -> Result<(), Fault> {
        let reading = match reading {
            Ok(reading) => reading,
            Err(why) => {
                if kept.new {
                    files::forget(&app.pool, kept.id).await?;
                }
                self.turned_down.push(TurnedDown { name, why, too_large: false });
                return Ok(());
            }
        };
        let file = kept.id;
        let mut tx = app.pool.begin().await?;
        let picture_name = format!("{name}.png");
        let picture =
            files::put(&mut tx, &reading.picture_png, &picture_name, "image/png", now).await?;
        tx.commit().await?;
        self.taken.push(Taken { name, file, picture, reading });
        Ok(())
    }

    /// Files that came with an earlier sending of the form and were good.
    async fn take_kept(&mut self, app: &App, now: Moment) -> Result<(), Fault> {
        let kept: Vec<(FileId, String)> = self
            .form
            .all("kept")
            .filter_map(|kept| {
                let (id, name) = kept.split_once(' ')?;
                Some((id.parse().ok()?, plain_name(name)))
            })
            .take(200)
            .collect();
        for (id, name) in kept {
            if !self.taken.iter().any(|taken| taken.file == id) {
                let bytes = files::read(&app.pool, id).await?.into();
                let reading = reading::take(bytes, name.clone(), app.largest_model, None).await?;
                self.take(app, now, name, (reading, Kept { id, new: false })).await?;
            }
        }
        Ok(())
    }

    /// Notes at the field of the files which of them were turned down; says whether any was.
    pub fn note_refusals(&mut self, field: &str) -> bool {
        if self.turned_down.is_empty() {
            return false;
        }
        let each: Vec<String> =
            self.turned_down.iter().map(|file| format!("“{}”: {}", file.name, file.why)).collect();
        self.form.wrong(field, each.join("\n"));
        true
    }

    /// The status of an answer that turns files down.
    #[must_use]
    pub fn status(&self) -> StatusCode {
        if self.turned_down.iter().any(|file| file.too_large) {
            StatusCode::PAYLOAD_TOO_LARGE
        } else {
            StatusCode::UNPROCESSABLE_ENTITY
        }
    }
}

/// Keeps a file by itself, so that nobody's connection waits for its measuring.
async fn keep(
    app: &App,
    now: Moment,
    name: &str,
    bytes: &Bytes,
    digest: files::Digest,
) -> Result<Kept, sqlx::Error> {
    let mut tx = app.pool.begin().await?;
    let kept = files::put_digested(&mut tx, bytes, digest, (name, "application/octet-stream"), now)
        .await?;
    tx.commit().await?;
    Ok(kept)
}

/// The sentence above a form of which some files were turned down.
#[must_use]
pub fn refused_files(kept: usize) -> String {
    let kept = match kept {
        0 => return "No file was taken. Look at the message beside the files.".to_owned(),
        1 => "One file is good and was kept".to_owned(),
        n => format!("{n} files are good and were kept"),
    };
    format!("{kept}; what was turned down has its message beside the files.")
}

fn interrupted(_: axum::extract::multipart::MultipartError) -> Fault {
    let message =
        "The upload was cut short or is damaged. Nothing of it was kept; send the form again.";
    Refused { status: StatusCode::UNPROCESSABLE_ENTITY, message: message.to_owned(), field: None }
        .into()
}

fn too_large_words(limit: usize) -> String {
    let limit = match limit >> 20 {
        0 => format!("{} kB", limit >> 10),
        mega => format!("{mega} MB"),
    };
    format!(
        "it is larger than {limit}, the most that is taken. Export it with a coarser tolerance, or as binary STL or 3MF."
    )
}

fn too_much(limit: usize) -> Refused {
    Refused {
        status: StatusCode::PAYLOAD_TOO_LARGE,
        message: format!(
            "The form has more than {} MB, the most that is read at once. Send fewer files at a time.",
            (limit >> 20).max(1)
        ),
        field: None,
    }
}

/// The last part of a path, on one line and of a length that can be shown.
fn plain_name(sent: &str) -> String {
    let last = sent.rsplit(['/', '\\']).next().unwrap_or_default();
    last.chars().filter(|c| !c.is_control()).take(200).collect::<String>().trim().to_owned()
}
