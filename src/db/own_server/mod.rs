//! A private PostgreSQL in the data folder, started and stopped with Pourday.
//!
//! It is the installed PostgreSQL, run for Pourday alone: reachable only through a socket
//! in a folder nobody else may enter, with checksums, with every commit forced to disk.
//! Kill Pourday, the database or both at any moment: the next start finds all that was
//! acknowledged.

mod account;
pub(super) mod binaries;
mod create;
mod folder;
mod postmaster;
mod supervisor;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use percent_encoding::{NON_ALPHANUMERIC, percent_encode};
use sqlx::postgres::PgConnectOptions;

use self::binaries::{Installed, OLDEST};
use self::folder::Folder;
use self::postmaster::{Phase, Postmaster};
use self::supervisor::{Board, Recipe};
use super::DbRefusal;

pub(super) use self::create::reason;
pub use self::folder::default_data_dir;

/// The database's only user, and the name of the studio's database.
pub(super) const USER: &str = "pourday";
pub(super) const DATABASE: &str = "pourday";

/// How long a start may take while the server is at work on it: after a crash it reads
/// through all that was written since the last checkpoint.
const LONGEST_START: Duration = Duration::from_secs(600);
/// How long remains of a killed server may keep the next one from starting.
const LONGEST_REMAINS: Duration = Duration::from_secs(60);

/// Whether the data must outlive a crash of the machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Keeping {
    Durable,
    /// Faster, for tests and trials: gone when the program is.
    ThrowAway,
}

/// Where a private server listens and how to sign in.
#[derive(Debug, Clone)]
pub struct Address {
    socket_dir: PathBuf,
    password: String,
}

impl Address {
    /// How to connect to one of the server's databases.
    #[must_use]
    pub fn options(&self, database: &str) -> PgConnectOptions {
        PgConnectOptions::new_without_pgpass()
            .socket(&self.socket_dir)
            .port(5432)
            .username(USER)
            .password(&self.password)
            .database(database)
    }

    /// The same as an address that any program takes which speaks to PostgreSQL. It holds
    /// the password: show it to nobody.
    #[must_use]
    pub fn url(&self, database: &str) -> String {
        let folder = self.socket_dir.as_os_str().as_encoded_bytes();
        let host = percent_encode(folder, NON_ALPHANUMERIC);
        format!("postgres://{USER}:{}@localhost:5432/{database}?host={host}", self.password)
    }
}

/// A private PostgreSQL that runs as long as this value lives.
///
/// A thread watches it and starts it again should it end by itself. Dropping the value
/// stops the server and waits for it; [`OwnServer::stop`] does the same and says how it
/// went.
#[derive(Debug)]
pub struct OwnServer {
    address: Address,
    board: Arc<Board>,
    thread: Option<JoinHandle<Result<(), DbRefusal>>>,
    throw_away: Option<PathBuf>,
}

impl OwnServer {
    /// Starts the server in `data_dir`, setting up a new database if there is none.
    ///
    /// It blocks until the server takes connections: about a second the first time, a
    /// fraction of one later, longer after a crash.
    ///
    /// # Errors
    /// No PostgreSQL, a folder in use or out of reach, or a server that will not start;
    /// each says what to do.
    pub fn start(data_dir: &Path) -> Result<Self, DbRefusal> {
        Self::start_keeping(data_dir, Keeping::Durable)
    }

    /// Starts a server whose data may be lost, in a new folder under `parent`, which goes
    /// when the server does. For tests and trials.
    ///
    /// # Errors
    /// As [`OwnServer::start`].
    pub fn start_throw_away(parent: &Path) -> Result<Self, DbRefusal> {
        let root =
            parent.join(format!("pourday-{}-{}", std::process::id(), create::random_hex(4)?));
        Self::start_keeping(&root, Keeping::ThrowAway)
    }

    fn start_keeping(data_dir: &Path, keeping: Keeping) -> Result<Self, DbRefusal> {
        let mut data = Folder::take(data_dir)?;
        let found = binaries::installed(&["postgres", "initdb"]);
        if !data.database().exists() {
            let newest = found.first().ok_or(DbRefusal::NoPostgres { oldest: OLDEST })?;
            create::create(&data, newest, keeping)?;
        }
        let postgres = matching(&data, found)?;
        postmaster::end_earlier(&data)?;
        let socket_dir = data.socket_dir()?;
        data.sign(&socket_dir)?;
        let throw_away = match keeping {
            Keeping::Durable => None,
            Keeping::ThrowAway => {
                // So that the watcher, who is PostgreSQL's user, can remove it.
                data.account.own(data.root())?;
                Some(data.root().to_owned())
            }
        };
        let address = Address { socket_dir: socket_dir.clone(), password: data.password()? };
        let recipe = Recipe { data, postgres, socket_dir, keeping };
        let server = start_and_wait(&recipe)?;
        let board = Arc::new(Board::default());
        let thread = std::thread::Builder::new()
            .name("database".to_owned())
            .spawn({
                let board = Arc::clone(&board);
                move || supervisor::supervise(&recipe, server, &board)
            })
            .map_err(|cause| DbRefusal::System { doing: "start a thread", cause })?;
        Ok(Self { address, board, thread: Some(thread), throw_away })
    }

    /// Whether the server takes connections just now.
    #[must_use]
    pub fn healthy(&self) -> bool {
        self.board.healthy()
    }

    /// Where it listens.
    #[must_use]
    pub fn address(&self) -> &Address {
        &self.address
    }

    /// Stops the server in good order and waits for it. Close the pool first.
    ///
    /// # Errors
    /// It did not stop within a minute and a half; then it still runs.
    pub fn stop(mut self) -> Result<(), DbRefusal> {
        self.stop_and_wait()
    }

    fn stop_and_wait(&mut self) -> Result<(), DbRefusal> {
        self.board.ask_to_stop();
        let Some(thread) = self.thread.take() else { return Ok(()) };
        // A panic of the thread was reported when it happened, and dropped the pipe by
        // which the watcher stops the server.
        let stopped = thread.join().unwrap_or(Ok(()));
        if let (Ok(()), Some(root)) = (&stopped, self.throw_away.take())
            && let Err(cause) = std::fs::remove_dir_all(&root)
        {
            tracing::debug!(%cause, path = %root.display(), "left a throw-away database");
        }
        stopped
    }
}

impl Drop for OwnServer {
    fn drop(&mut self) {
        if let Err(refusal) = self.stop_and_wait() {
            tracing::error!(%refusal, "the database was not stopped");
        }
    }
}

/// The address of the server that another Pourday runs in this folder, if one does.
pub(super) fn neighbour(data_dir: &Path) -> Result<Option<Address>, DbRefusal> {
    let Some(holder) = folder::holder(data_dir)? else { return Ok(None) };
    let Some(socket_dir) = holder.socket_dir else {
        return Err(DbRefusal::FolderInUse { folder: data_dir.to_owned(), holder: holder.who });
    };
    Ok(Some(Address { socket_dir, password: folder::read_password(data_dir)? }))
}

/// The installation of the major version that wrote the data.
fn matching(data: &Folder, found: Vec<Installed>) -> Result<Installed, DbRefusal> {
    let path = data.cluster().join("PG_VERSION");
    let text = std::fs::read_to_string(&path).map_err(super::refusal::folder("read", &path))?;
    let needed = text.trim().parse().map_err(|_| {
        let cause = std::io::Error::other(format!("it says {text:?}, not a version"));
        super::refusal::folder("understand", &path)(cause)
    })?;
    let majors: Vec<String> = found.iter().map(|one| one.major.to_string()).collect();
    found.into_iter().find(|one| one.major == needed).ok_or_else(|| DbRefusal::OtherMajor {
        folder: data.root().to_owned(),
        needed,
        found: if majors.is_empty() { "none".to_owned() } else { majors.join(", ") },
    })
}

fn start_and_wait(recipe: &Recipe) -> Result<Postmaster, DbRefusal> {
    let begun = Instant::now();
    let refuse = |said: String| DbRefusal::Start {
        folder: recipe.data.root().to_owned(),
        said,
        log: recipe.data.log(),
    };
    let mut server = recipe.spawn()?;
    loop {
        match server.phase() {
            Phase::Ready => return Ok(server),
            Phase::Starting if begun.elapsed() > LONGEST_START => {
                let minutes = LONGEST_START.as_secs() / 60;
                server.stop(&recipe.data)?;
                return Err(refuse(format!("it was not ready within {minutes} minutes")));
            }
            Phase::Starting => std::thread::sleep(Duration::from_millis(10)),
            Phase::Ended(status) => {
                let said = server.said();
                // Remains of a server that was just killed take a moment to end.
                let remains = said.contains("is still in use") || said.contains("already exists");
                if !remains || begun.elapsed() > LONGEST_REMAINS {
                    let reason = if said.is_empty() {
                        format!("it ended with {status} and said nothing")
                    } else {
                        server.reason()
                    };
                    return Err(refuse(reason));
                }
                std::thread::sleep(Duration::from_millis(200));
                postmaster::end_earlier(&recipe.data)?;
                server = recipe.spawn()?;
            }
        }
    }
}
