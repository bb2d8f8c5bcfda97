//! `pourday back-up` and `pourday restore`: the whole studio in one file.

use std::path::PathBuf;

use clap::Args;

use super::{CliFault, Where, block_on, serve::say};
use crate::db;

#[derive(Args, Debug)]
pub(crate) struct BackUp {
    #[command(flatten)]
    place: Where,
    /// The file to write
    file: PathBuf,
}

impl BackUp {
    pub(crate) fn run(self) -> Result<(), CliFault> {
        block_on(async move {
            let report = db::back_up(self.place.source(), &self.file).await?;
            say(&format!(
                "{} holds the whole studio, {} bytes.",
                report.file.display(),
                report.bytes
            ));
            Ok(())
        })
    }
}

#[derive(Args, Debug)]
pub(crate) struct Restore {
    #[command(flatten)]
    place: Where,
    /// The file to read
    file: PathBuf,
    /// Replace the studio that is there; it is kept until the next restore
    #[arg(long)]
    replace: bool,
}

impl Restore {
    pub(crate) fn run(self) -> Result<(), CliFault> {
        block_on(async move {
            let report = db::restore(self.place.source(), &self.file, self.replace).await?;
            say(&format!(
                "The studio is as it was on {}.",
                report.made_at.strftime("%Y-%m-%d at %H:%M UTC")
            ));
            if let Some(former) = report.former {
                say(&format!(
                    "What was there before is kept in the database {former} until the next restore."
                ));
            }
            Ok(())
        })
    }
}
