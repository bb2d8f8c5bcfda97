//! Setting up a new database, once.

use std::fs::{self, DirBuilder, File, OpenOptions};
use std::io::Write;
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::Path;

use rand::TryRngCore;

use super::binaries::Installed;
use super::folder::Folder;
use super::{Keeping, USER};
use crate::db::DbRefusal;
use crate::db::refusal::folder;

const SIDE: &str = "database.new-";

/// Makes the database if the folder has none.
///
/// It is made in a side folder and renamed when whole, so that a stop at any moment
/// leaves either no database or a whole one. Side folders of earlier tries are removed;
/// each has a name of its own, because an `initdb` of an earlier try may still be writing.
pub(super) fn create(
    data: &Folder,
    postgres: &Installed,
    keeping: Keeping,
) -> Result<(), DbRefusal> {
    remove_earlier_tries(data);
    let side = data.root().join(format!("{SIDE}{}", random_hex(4)?));
    DirBuilder::new().mode(0o700).create(&side).map_err(folder("make the folder", &side))?;
    data.account.own(&side)?;
    write_password(data, &side.join("password"))?;
    run_initdb(data, postgres, keeping, &side)?;
    let sync = |path: &Path| {
        File::open(path).and_then(|file| file.sync_all()).map_err(folder("save", path))
    };
    sync(&side)?;
    fs::rename(&side, data.database()).map_err(folder("rename", &side))?;
    sync(data.root())
}

fn remove_earlier_tries(data: &Folder) {
    let Ok(entries) = fs::read_dir(data.root()) else { return };
    for entry in entries.flatten() {
        if entry.file_name().to_string_lossy().starts_with(SIDE)
            && let Err(cause) = fs::remove_dir_all(entry.path())
        {
            // It only costs space, and the next start tries again.
            tracing::debug!(%cause, path = %entry.path().display(), "left an unfinished database");
        }
    }
}

fn write_password(data: &Folder, path: &Path) -> Result<(), DbRefusal> {
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(path)
        .map_err(folder("write", path))?;
    let password = random_hex(32)?;
    file.write_all(password.as_bytes())
        .and_then(|()| file.write_all(b"\n"))
        .and_then(|()| file.sync_all())
        .map_err(folder("write", path))?;
    data.account.own(path)
}

fn run_initdb(
    data: &Folder,
    postgres: &Installed,
    keeping: Keeping,
    side: &Path,
) -> Result<(), DbRefusal> {
    // Where the system has no C.UTF-8, plain C gives the same order of texts (by code
    // point); only upper and lower case beyond ASCII is then left alone.
    let mut said = String::new();
    for locale in ["C.UTF-8", "C"] {
        let program = postgres.program("initdb");
        let mut command = data.account.command(&program);
        command
            .arg("--pgdata")
            .arg(side.join("cluster"))
            .arg("--pwfile")
            .arg(side.join("password"))
            .args(["--username", USER, "--auth-local", "scram-sha-256", "--auth-host", "reject"])
            .args(["--encoding", "UTF8", "--data-checksums", "--no-instructions"])
            .arg(format!("--locale={locale}"));
        if keeping == Keeping::ThrowAway {
            command.arg("--no-sync");
        }
        command.stderr(std::process::Stdio::piped());
        let output = command.output().map_err(|cause| DbRefusal::CannotRun { program, cause })?;
        if output.status.success() {
            return Ok(());
        }
        said = reason(&String::from_utf8_lossy(&output.stderr));
        if !said.contains("locale") {
            break;
        }
    }
    Err(DbRefusal::SetUp { folder: data.root().to_owned(), said })
}

/// The line of a program's output that says what went wrong.
pub(in crate::db) fn reason(output: &str) -> String {
    let lines = || output.lines().map(str::trim).filter(|line| !line.is_empty());
    lines()
        .find(|line| line.contains("FATAL:") || line.contains("PANIC:"))
        .or_else(|| lines().find(|line| line.contains("error:") || line.contains("ERROR:")))
        .or_else(|| lines().next_back())
        .map_or_else(|| "it said nothing".to_owned(), without_preamble)
}

/// Takes away the time and process number a log line begins with.
fn without_preamble(line: &str) -> String {
    ["FATAL:", "PANIC:", "ERROR:", "error:"]
        .iter()
        .find_map(|word| line.split_once(word))
        .map_or(line, |(_, rest)| rest)
        .trim()
        .trim_end_matches('.')
        .to_owned()
}

/// Random bytes of the system, as hexadecimal digits.
pub(super) fn random_hex(bytes: usize) -> Result<String, DbRefusal> {
    let mut random = vec![0_u8; bytes];
    rand::rngs::OsRng.try_fill_bytes(&mut random).map_err(|cause| DbRefusal::System {
        doing: "draw a random number",
        cause: std::io::Error::other(cause),
    })?;
    Ok(random.iter().map(|byte| format!("{byte:02x}")).collect())
}

#[cfg(test)]
mod tests {
    use super::reason;

    #[test]
    fn the_reason_is_the_line_that_matters() {
        let log = "2026-01-01 10:00:00 UTC [7] LOG:  starting\n\
                   2026-01-01 10:00:00 UTC [7] FATAL:  data directory has wrong ownership\n\
                   2026-01-01 10:00:00 UTC [7] HINT:  The server must be started by its owner.\n";
        assert_eq!(reason(log), "data directory has wrong ownership");
        assert_eq!(
            reason("initdb: error: invalid locale name \"X\"\n"),
            "invalid locale name \"X\""
        );
        assert_eq!(reason("Killed\n"), "Killed");
        assert_eq!(reason("\n"), "it said nothing");
    }
}
