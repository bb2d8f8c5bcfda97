//! A program of its own that runs a private server and writes into it, to be killed.
//!
//! It is the test binary itself, called for one test that does nothing otherwise.

use std::io::{BufRead, BufReader};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::time::Duration;

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use pourday::db::{self, Source};

const DATA: &str = "POURDAY_TEST_DATA";

/// Counts upwards in the database and on its output, until it is killed.
#[tokio::test]
#[ignore = "this is the program that the tests of killing start"]
async fn the_program() {
    let Some(data) = std::env::var_os(DATA) else { return };
    let database = db::connect(Source::Own(PathBuf::from(data))).await.unwrap();
    let pool = &database.pool;
    let begun = "CREATE TABLE IF NOT EXISTS counted (n bigint PRIMARY KEY)";
    sqlx::query(begun).execute(pool).await.unwrap();
    let last = "SELECT coalesce(max(n), 0) FROM counted";
    let mut n: i64 = sqlx::query_scalar(last).fetch_one(pool).await.unwrap();
    loop {
        n += 1;
        let written = sqlx::query("INSERT INTO counted VALUES ($1)").bind(n).execute(pool).await;
        match written {
            Ok(_) => println!("\nacknowledged {n}"),
            Err(cause) if db::is_unavailable(&cause) => {
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
            // It was written, and the database died before it could say so.
            Err(cause)
                if cause.as_database_error().is_some_and(|said| said.is_unique_violation()) => {}
            Err(cause) => panic!("{cause:?}"),
        }
    }
}

/// The running program.
pub(super) struct Program {
    child: Child,
    said: Receiver<i64>,
    acknowledged: Vec<i64>,
}

impl Program {
    pub(super) fn start(data: &Path) -> Self {
        Self::start_binary(&std::env::current_exe().unwrap(), data, None)
    }

    pub(super) fn start_binary(binary: &Path, data: &Path, user: Option<(u32, u32)>) -> Self {
        let mut command = Command::new(binary);
        command
            .args(["--exact", "own_server::program::the_program", "--ignored", "--nocapture"])
            .env(DATA, data)
            .current_dir("/")
            .stdout(Stdio::piped());
        if let Some((uid, gid)) = user {
            command.uid(uid).gid(gid);
        }
        let mut child = command.spawn().unwrap();
        let output = BufReader::new(child.stdout.take().unwrap());
        let (tell, said) = mpsc::channel();
        std::thread::spawn(move || {
            for line in output.lines().map_while(Result::ok) {
                let number = line.strip_prefix("acknowledged ").and_then(|n| n.parse().ok());
                if let Some(number) = number {
                    let _nobody_listens = tell.send(number);
                }
            }
        });
        Self { child, said, acknowledged: Vec::new() }
    }

    /// Waits until `count` more are acknowledged.
    pub(super) fn wait_for(&mut self, count: usize) {
        for _ in 0..count {
            let number = self.said.recv_timeout(Duration::from_secs(60)).unwrap();
            self.acknowledged.push(number);
        }
    }

    /// Ends it without any warning; returns all that was ever acknowledged.
    pub(super) fn kill(mut self) -> Vec<i64> {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        // Its output ends with it.
        self.acknowledged.extend(self.said.iter());
        self.acknowledged
    }
}

/// The number of the database's main process, as it wrote it down itself.
pub(super) fn postmaster(data: &Path) -> Option<Pid> {
    let text = std::fs::read_to_string(data.join("database/cluster/postmaster.pid")).ok()?;
    Some(Pid::from_raw(text.lines().next()?.parse().ok()?))
}

/// Ends the database's main process without any warning, if there is one.
pub(super) fn kill_postmaster(data: &Path) {
    if let Some(pid) = postmaster(data) {
        let _already_gone = kill(pid, Signal::SIGKILL);
    }
}

/// Every process whose command line names the data folder.
#[cfg(target_os = "linux")]
pub(super) fn processes_naming(data: &Path) -> Vec<Pid> {
    let named = data.to_str().unwrap();
    let entries = std::fs::read_dir("/proc").unwrap().flatten();
    entries
        .filter_map(|entry| entry.file_name().to_str()?.parse().ok())
        .filter(|pid: &i32| {
            std::fs::read(format!("/proc/{pid}/cmdline"))
                .is_ok_and(|line| String::from_utf8_lossy(&line).contains(named))
        })
        .map(Pid::from_raw)
        .collect()
}
