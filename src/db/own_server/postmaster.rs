//! One running PostgreSQL: starting, watching and stopping its main process.
//!
//! # When Pourday is killed
//! The server is started through a few lines of shell that leave a watcher behind. The
//! watcher reads from a pipe whose other end only Pourday holds; when Pourday ends without
//! saying that all is over, the pipe closes and the watcher asks the server to stop. Linux
//! could do the same by a parent-death signal, but that is not to be had on macOS nor
//! without unsafe code, is forgotten when the user changes, and fires when the starting
//! *thread* ends. The shell is there wherever PostgreSQL is, which needs it itself.
//!
//! # When the watcher was killed too
//! Then the server runs on alone, and the next start finds it, stops it in an orderly way
//! and starts its own ([`end_earlier`]).

use std::ffi::OsString;
use std::fs;
use std::io::{Read, Seek, SeekFrom, Write};
use std::os::unix::ffi::{OsStrExt, OsStringExt};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;

use super::Keeping;
use super::binaries::Installed;
use super::create::reason;
use super::folder::Folder;
use crate::db::DbRefusal;
use crate::db::refusal::folder;

/// How long an orderly stop (rolling back, writing a checkpoint) may take before the
/// server is told to stop at once and recover at its next start.
const ORDERLY_STOP: Duration = Duration::from_secs(60);
/// How long the stop at once may take.
const STOP_AT_ONCE: Duration = Duration::from_secs(30);

/// `$1` is a folder to remove after the server, or nothing; the rest is the server's
/// command, which replaces the shell and so keeps its process number `$$`.
const LAUNCH: &str = r#"
gone=$1; shift
exec 3<&0 </dev/null
( (
  if read -r _ <&3; then exit 0; fi
  kill -INT $$
  [ -n "$gone" ] || exit 0
  tries=0
  while [ -e "$gone/database/cluster/postmaster.pid" ] && [ $tries -lt 300 ]; do
    sleep 0.1; tries=$((tries + 1))
  done
  rm -rf "$gone"
) >/dev/null 2>&1 & )
exec 3<&-
exec "$@"
"#;

/// A server we started.
#[derive(Debug)]
pub(super) struct Postmaster {
    child: Child,
    /// The pipe the watcher listens on.
    watch: ChildStdin,
    cluster: PathBuf,
    log: PathBuf,
    /// Where in the log this run begins.
    log_from: u64,
    /// Whether it once took connections; it then does so until it ends.
    ready: bool,
}

/// How far a server has come.
#[derive(Debug)]
pub(super) enum Phase {
    /// Not yet taking connections; it may be recovering.
    Starting,
    Ready,
    Ended(ExitStatus),
}

impl Postmaster {
    /// Starts the server and returns at once.
    pub(super) fn spawn(
        data: &Folder,
        postgres: &Installed,
        socket_dir: &Path,
        keeping: Keeping,
    ) -> Result<Self, DbRefusal> {
        let log = data.open_log()?;
        let log_from = log.metadata().map_err(folder("read", &data.log()))?.len();
        let shell = PathBuf::from("/bin/sh");
        let gone = match keeping {
            Keeping::Durable => OsString::new(),
            Keeping::ThrowAway => data.root().into(),
        };
        let mut command = data.account.command(&shell);
        command.args(["-c", LAUNCH, "pourday-database"]).arg(gone);
        command.arg(postgres.program("postgres")).arg("-D").arg(data.cluster());
        for setting in settings(socket_dir, keeping) {
            command.arg("-c").arg(setting);
        }
        see_past_a_stale_pid(&mut command, &data.cluster());
        let mut child = command
            .stdin(Stdio::piped())
            .stderr(log)
            .spawn()
            .map_err(|cause| DbRefusal::CannotRun { program: shell.clone(), cause })?;
        let watch = child.stdin.take().ok_or_else(|| DbRefusal::CannotRun {
            program: shell,
            cause: std::io::Error::from(std::io::ErrorKind::BrokenPipe),
        })?;
        Ok(Self { child, watch, cluster: data.cluster(), log: data.log(), log_from, ready: false })
    }

    /// Looks how far the server has come.
    pub(super) fn phase(&mut self) -> Phase {
        match self.child.try_wait() {
            Ok(Some(status)) => {
                self.dismiss_watcher();
                Phase::Ended(status)
            }
            // An error here means the process is no longer ours to wait for, which cannot
            // be while `child` is alive; the next look decides.
            Ok(None) | Err(_) => {
                self.ready = self.ready
                    || PidFile::read(&self.cluster)
                        .is_some_and(|file| Ok(file.pid) == self.pid().try_into() && file.ready);
                if self.ready { Phase::Ready } else { Phase::Starting }
            }
        }
    }

    pub(super) fn pid(&self) -> u32 {
        self.child.id()
    }

    /// What the server said since it was started.
    pub(super) fn said(&self) -> String {
        let mut text = Vec::new();
        let read = fs::File::open(&self.log).and_then(|mut file| {
            file.seek(SeekFrom::Start(self.log_from))?;
            file.take(64 * 1024).read_to_end(&mut text)
        });
        match read {
            Ok(_) => String::from_utf8_lossy(&text).into_owned(),
            Err(cause) => format!("its log cannot be read: {cause}"),
        }
    }

    /// The reason it gave for not starting.
    pub(super) fn reason(&self) -> String {
        reason(&self.said())
    }

    /// Stops the server: in good order, and if that takes too long, at once. It is never
    /// killed, so a failure leaves it running.
    pub(super) fn stop(mut self, data: &Folder) -> Result<(), DbRefusal> {
        let pid = Pid::from_raw(self.pid().cast_signed());
        for (signal, patience) in [(Signal::SIGINT, ORDERLY_STOP), (Signal::SIGQUIT, STOP_AT_ONCE)]
        {
            // The child is not yet waited for, so the number cannot be somebody else's.
            let _already_gone = kill(pid, signal);
            let until = Instant::now() + patience;
            while Instant::now() < until {
                if let Phase::Ended(_) = self.phase() {
                    return Ok(());
                }
                std::thread::sleep(Duration::from_millis(10));
            }
        }
        Err(DbRefusal::DoesNotStop { pid: pid.as_raw(), folder: data.root().to_owned() })
    }

    /// Tells the watcher that the server has ended, so that it signals nobody.
    fn dismiss_watcher(&mut self) {
        // A watcher that is gone already needs no telling.
        let _gone = self.watch.write_all(b"over\n");
    }
}

/// The settings Pourday insists on, whatever the files in the database's folder say. All
/// else, such as memory, can be set in its `postgresql.conf`.
fn settings(socket_dir: &Path, keeping: Keeping) -> Vec<OsString> {
    let mut socket = OsString::from("unix_socket_directories=");
    socket.push(quoted(socket_dir));
    // Tests share one server, each with connections of its own.
    let (durability, connections) = match keeping {
        Keeping::Durable => ("on", 60),
        Keeping::ThrowAway => ("off", 400),
    };
    let mut settings: Vec<OsString> = [
        "listen_addresses=",
        "port=5432",
        "unix_socket_permissions=0700",
        "password_encryption=scram-sha-256",
        "logging_collector=off",
        "log_destination=stderr",
        "log_line_prefix=%m [%p] ",
        "log_checkpoints=off",
        // The log shall not fill with people's names and figures.
        "log_error_verbosity=terse",
        "log_min_error_statement=panic",
        "lc_messages=C",
        "timezone=UTC",
        "log_timezone=UTC",
        "cluster_name=pourday",
    ]
    .map(OsString::from)
    .into();
    for name in ["fsync", "synchronous_commit", "full_page_writes"] {
        settings.push(format!("{name}={durability}").into());
    }
    settings.push(format!("max_connections={connections}").into());
    settings.push(socket);
    settings
}

/// The setting is a list separated by commas, so the path goes in quotes.
fn quoted(path: &Path) -> OsString {
    let mut text = vec![b'"'];
    for &byte in path.as_os_str().as_bytes() {
        text.extend(if byte == b'"' { &b"\"\""[..] } else { std::slice::from_ref(&byte) });
    }
    text.push(b'"');
    OsString::from_vec(text)
}

/// Lets the server see past a process number in its pid file that has since been given to
/// somebody else, or belongs to a process that ended but was never waited for.
///
/// The file is never removed or changed by us, because it also names the shared memory by
/// which PostgreSQL knows that remains of the former server are still writing. PostgreSQL
/// ignores the number, and only that, when it equals `PG_GRANDPARENT_PID`, which its own
/// `pg_ctl` sets for the like purpose. We hold the folder's lock and have ended any server
/// that really works here ([`end_earlier`]), so whatever number stands there is stale.
fn see_past_a_stale_pid(command: &mut Command, cluster: &Path) {
    if let Some(file) = PidFile::read(cluster)
        && !file.is_at_work(cluster)
    {
        command.env("PG_GRANDPARENT_PID", file.pid.to_string());
    }
}

/// Ends a server of an earlier run that still works in this folder, in good order.
///
/// Call it only with the folder's lock held: then nobody else can be using that server.
pub(super) fn end_earlier(data: &Folder) -> Result<(), DbRefusal> {
    let cluster = data.cluster();
    for (signal, patience) in [(Signal::SIGINT, ORDERLY_STOP), (Signal::SIGQUIT, STOP_AT_ONCE)] {
        let until = Instant::now() + patience;
        let mut told = false;
        while Instant::now() < until {
            let Some(file) = PidFile::read(&cluster) else { return Ok(()) };
            if !file.is_at_work(&cluster) {
                return Ok(());
            }
            if !told {
                tracing::info!(pid = file.pid, ?signal, "stopping the database of an earlier run");
                let _already_gone = kill(Pid::from_raw(file.pid), signal);
                told = true;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
    }
    let pid = PidFile::read(&cluster).map_or(0, |file| file.pid);
    Err(DbRefusal::DoesNotStop { pid, folder: data.root().to_owned() })
}

/// What PostgreSQL writes into `postmaster.pid`.
#[derive(Debug, PartialEq, Eq)]
struct PidFile {
    pid: i32,
    ready: bool,
}

impl PidFile {
    fn read(cluster: &Path) -> Option<Self> {
        Self::parse(&fs::read_to_string(cluster.join("postmaster.pid")).ok()?)
    }

    /// The first line is the process number, the eighth the state.
    fn parse(text: &str) -> Option<Self> {
        let mut lines = text.lines();
        let pid = lines.next()?.trim().parse().ok().filter(|pid| *pid > 1)?;
        let ready = lines.nth(6).is_some_and(|state| state.trim() == "ready");
        Some(Self { pid, ready })
    }

    /// Whether the process of this number is alive and a server working in that folder:
    /// PostgreSQL makes the folder its working directory.
    #[cfg(target_os = "linux")]
    fn is_at_work(&self, cluster: &Path) -> bool {
        // The link of a process that ended but was never waited for cannot be read.
        let works_in = fs::read_link(format!("/proc/{}/cwd", self.pid));
        works_in.is_ok_and(|cwd| cluster.canonicalize().is_ok_and(|cluster| cwd == cluster))
    }

    /// Whether the process of this number is alive and a server working in that folder,
    /// by its command line.
    #[cfg(not(target_os = "linux"))]
    fn is_at_work(&self, cluster: &Path) -> bool {
        Command::new("/bin/ps")
            .args(["-ww", "-o", "stat=,command=", "-p", &self.pid.to_string()])
            .stdin(Stdio::null())
            .output()
            .is_ok_and(|output| {
                let line = String::from_utf8_lossy(&output.stdout);
                let line = line.trim_start();
                !line.starts_with('Z') && line.contains(&*cluster.to_string_lossy())
            })
    }
}

#[cfg(test)]
mod tests {
    use super::PidFile;

    #[test]
    fn the_pid_file_is_read_whole_or_half_written() {
        let whole = "4711\n/d/cluster\n1790000000\n5432\n/d/run\n\n  123 4\nready   \n";
        assert_eq!(PidFile::parse(whole), Some(PidFile { pid: 4711, ready: true }));
        let starting = whole.replace("ready   ", "starting");
        assert_eq!(PidFile::parse(&starting), Some(PidFile { pid: 4711, ready: false }));
        assert_eq!(PidFile::parse("4711\n"), Some(PidFile { pid: 4711, ready: false }));
        for nonsense in ["", "\n", "x", "-7\n", "0\n", "1\n"] {
            assert_eq!(PidFile::parse(nonsense), None, "{nonsense:?}");
        }
    }
}
