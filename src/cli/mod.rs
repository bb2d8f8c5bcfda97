//! The command line: one file a command.

mod backup;
mod burnout;
mod demo;
mod feed;
mod investment;
mod measure;
mod model;
mod pack;
mod person;
mod plan;
mod plate;
mod serve;
mod size;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};

use crate::db::{DbRefusal, Source, default_data_dir};
use crate::server::StartFault;

/// Carries the orders of a small casting studio from the model to the finished piece.
#[derive(Debug, Parser)]
#[command(version, about)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serve the studio to browsers
    Serve(serve::Serve),
    /// Make an invented studio with two months of history, and serve it
    Demo(demo::Demo),
    /// Measure a model file: volume, area, box, walls, bore, faults
    Measure(measure::Measure),
    /// The temperatures inside a flask during its burnout
    Burnout(burnout::BurnoutCommand),
    /// Powder and water for a flask
    Investment(investment::InvestmentCommand),
    /// Hang pieces on trees in as few flasks as can be found; JSON out
    Pack(pack::PackCommand),
    /// Set pieces on a printer's plates by their outlines; JSON out
    Plate(plate::PlateCommand),
    /// Find where a piece freezes last and whether its sprues feed it
    Feed(feed::Feed),
    /// Ring sizes, and the bore to draw
    Size(size::Size),
    /// Add somebody who may sign in
    AddPerson(person::AddPerson),
    /// Write the whole studio into one file, while it is being used
    BackUp(backup::BackUp),
    /// Read the whole studio from a file
    Restore(backup::Restore),
    /// Plan kiln loads and pours of an instance; JSON in and out
    Plan(plan::PlanCommand),
}

/// Which database a command works on.
#[derive(Args, Clone, Debug)]
pub(crate) struct Where {
    /// The folder of Pourday's own database
    #[arg(long, env = "POURDAY_DATA", default_value_os_t = default_data_dir())]
    data: PathBuf,
    /// Use this PostgreSQL server instead of Pourday's own
    #[arg(long, env = "DATABASE_URL", hide_env_values = true)]
    database_url: Option<String>,
}

impl Where {
    pub(crate) fn source(&self) -> Source {
        match &self.database_url {
            Some(url) => Source::Url(url.clone()),
            None => Source::Own(self.data.clone()),
        }
    }

    /// Where the key lies that seals secrets: beside our own database. A server elsewhere has no
    /// such place, so there it has to be given.
    pub(crate) fn key_file(&self) -> Option<PathBuf> {
        self.database_url.is_none().then(|| self.data.join("letters.key"))
    }
}

/// Why a command failed; printed as one line.
#[derive(Debug, thiserror::Error)]
pub(crate) enum CliFault {
    #[error(transparent)]
    Db(#[from] DbRefusal),
    #[error(transparent)]
    Start(#[from] StartFault),
    #[error("the database did not answer as expected: {0}")]
    Database(#[from] sqlx::Error),
    #[error("{0}")]
    System(#[from] std::io::Error),
    #[error("{0}")]
    Refused(String),
}

/// Runs the command that the arguments name.
#[must_use]
pub fn run() -> ExitCode {
    let arguments = Arguments::parse();
    let outcome = match arguments.command {
        Command::Serve(serve) => serve.run(),
        Command::Demo(demo) => demo.run(),
        Command::Measure(measure) => measure.run(),
        Command::Burnout(burnout) => burnout.run(),
        Command::Investment(investment) => investment.run(),
        Command::Pack(pack) => pack.run(),
        Command::Plate(plate) => plate.run(),
        Command::Feed(feed) => feed.run(),
        Command::Size(size) => size.run(),
        Command::AddPerson(person) => person.run(),
        Command::BackUp(back_up) => back_up.run(),
        Command::Restore(restore) => restore.run(),
        Command::Plan(plan) => plan.run(),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(fault) => {
            warn(&fault.to_string());
            ExitCode::FAILURE
        }
    }
}

/// Says what is wrong, apart from what a command prints.
pub(crate) fn warn(line: &str) {
    #[expect(clippy::print_stderr, reason = "the one place where a command says what is wrong")]
    {
        eprintln!("pourday: {line}");
    }
}

/// Runs a command's work on a runtime of its own.
pub(crate) fn block_on<T>(work: impl Future<Output = Result<T, CliFault>>) -> Result<T, CliFault> {
    tokio::runtime::Builder::new_multi_thread().enable_all().build()?.block_on(work)
}
