//! The thread that keeps the server running and stops it when asked.

use std::path::PathBuf;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use super::Keeping;
use super::binaries::Installed;
use super::folder::Folder;
use super::postmaster::{Phase, Postmaster};
use crate::db::DbRefusal;

/// How often the thread looks whether the server still runs.
const LOOK: Duration = Duration::from_millis(100);
/// Waits between tries to start a server again that ended by itself.
const FIRST_WAIT: Duration = Duration::from_millis(200);
const LONGEST_WAIT: Duration = Duration::from_secs(15);
/// A server that ran this long was sound: the next wait is the first again.
const SOUND: Duration = Duration::from_secs(60);

/// Whether the server takes connections, and whether it should stop.
#[derive(Debug, Default)]
pub(super) struct Board {
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct State {
    healthy: bool,
    stop: bool,
}

impl Board {
    pub(super) fn healthy(&self) -> bool {
        self.state().healthy
    }

    pub(super) fn ask_to_stop(&self) {
        self.state().stop = true;
        self.changed.notify_all();
    }

    fn set_healthy(&self, healthy: bool) {
        self.state().healthy = healthy;
    }

    /// Waits, and returns early with `true` when asked to stop.
    fn stop_asked_within(&self, patience: Duration) -> bool {
        let state = self.state();
        self.changed
            .wait_timeout_while(state, patience, |state| !state.stop)
            .unwrap_or_else(PoisonError::into_inner)
            .0
            .stop
    }

    /// The state is two independent flags, so one left by a panic is still right.
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// All that is needed to start the server, again and again.
#[derive(Debug)]
pub(super) struct Recipe {
    pub(super) data: Folder,
    pub(super) postgres: Installed,
    pub(super) socket_dir: PathBuf,
    pub(super) keeping: Keeping,
}

impl Recipe {
    pub(super) fn spawn(&self) -> Result<Postmaster, DbRefusal> {
        Postmaster::spawn(&self.data, &self.postgres, &self.socket_dir, self.keeping)
    }
}

/// Keeps a server that is ready running until asked to stop; returns how stopping went.
/// The folder's lock is held until then.
pub(super) fn supervise(
    recipe: &Recipe,
    server: Postmaster,
    board: &Arc<Board>,
) -> Result<(), DbRefusal> {
    board.set_healthy(true);
    let mut running = Some(server);
    let mut started = Instant::now();
    let mut wait = FIRST_WAIT;
    loop {
        let Some(mut server) = running.take() else {
            if board.stop_asked_within(wait) {
                return Ok(());
            }
            wait = (wait * 2).min(LONGEST_WAIT);
            started = Instant::now();
            match recipe.spawn() {
                Ok(server) => running = Some(server),
                Err(refusal) => tracing::error!(%refusal, "the database could not be started"),
            }
            continue;
        };
        if board.stop_asked_within(LOOK) {
            board.set_healthy(false);
            server.stop(&recipe.data)?;
            recipe.data.remove_socket_dir(&recipe.socket_dir);
            return Ok(());
        }
        match server.phase() {
            Phase::Starting => {}
            Phase::Ready => {
                if !board.healthy() {
                    board.set_healthy(true);
                    tracing::info!("the database is back");
                }
                if started.elapsed() > SOUND {
                    wait = FIRST_WAIT;
                }
            }
            Phase::Ended(status) => {
                board.set_healthy(false);
                tracing::error!(%status, said = server.reason(), "the database ended; starting it again");
                continue;
            }
        }
        running = Some(server);
    }
}
