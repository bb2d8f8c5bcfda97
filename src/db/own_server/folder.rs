//! The data folder: what lies where in it, who may enter, and who holds it.
//!
//! ```text
//! pourday.lock          held while a Pourday uses the folder; says who
//! database/             made whole beside it, then renamed, so it is either whole or absent
//!   cluster/            PostgreSQL's own folder
//!   password            of the database's only user
//! run/                  the socket
//! database.log          what PostgreSQL says; database.log.old is the one before
//! ```

use std::fs::{self, DirBuilder, File, OpenOptions, Permissions, TryLockError};
use std::io::{self, Read, Seek, Write};
use std::os::unix::fs::{DirBuilderExt, MetadataExt, OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use nix::unistd::geteuid;
use sha2::{Digest, Sha256};

use super::account::Account;
use crate::db::DbRefusal;
use crate::db::refusal::folder;

/// The longest path of a socket that every system we run on takes, without the final NUL:
/// Linux has room for 108 bytes (`unix(7)`), macOS for 104.
const LONGEST_SOCKET_PATH: usize = if cfg!(target_os = "linux") { 107 } else { 103 };

/// The file name PostgreSQL gives its socket on its usual port.
const SOCKET_NAME: &str = ".s.PGSQL.5432";

/// How long a start waits for the lock before it takes the folder to be in use.
const LOCK_PATIENCE: Duration = Duration::from_secs(1);

/// A log longer than this is set aside at the next start.
const LONG_LOG_BYTES: u64 = 5 * 1024 * 1024;

/// The folder used when none is named: `/var/lib/pourday` for root, else `pourday` in
/// `XDG_DATA_HOME`, else `~/.local/share/pourday`.
///
/// Root's own home is closed to the user PostgreSQL then runs as, so it does not serve.
#[must_use]
pub fn default_data_dir() -> PathBuf {
    let absolute =
        |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|path| path.is_absolute());
    if let Some(data) = absolute("XDG_DATA_HOME") {
        return data.join("pourday");
    }
    match absolute("HOME") {
        Some(home) if !geteuid().is_root() => home.join(".local/share/pourday"),
        _ => PathBuf::from("/var/lib/pourday"),
    }
}

/// A data folder whose lock we hold.
#[derive(Debug)]
pub(super) struct Folder {
    root: PathBuf,
    lock: File,
    pub(super) account: Account,
}

impl Folder {
    /// Makes the folder if needed, takes its lock, and sees to it that PostgreSQL's user
    /// can reach it.
    pub(super) fn take(root: &Path) -> Result<Self, DbRefusal> {
        make_reachable(root)?;
        let root = root.canonicalize().map_err(folder("open", root))?;
        let lock = lock(&root)?;
        let account = Account::choose(&root.join("database"))?;
        account.check_passable(&root)?;
        Ok(Self { root, lock, account })
    }

    pub(super) fn root(&self) -> &Path {
        &self.root
    }

    pub(super) fn database(&self) -> PathBuf {
        self.root.join("database")
    }

    pub(super) fn cluster(&self) -> PathBuf {
        self.root.join("database/cluster")
    }

    pub(super) fn log(&self) -> PathBuf {
        self.root.join("database.log")
    }

    /// The password of the database's only user.
    pub(super) fn password(&self) -> Result<String, DbRefusal> {
        read_password(&self.root)
    }

    /// Opens the log for appending; a long one is set aside first.
    pub(super) fn open_log(&self) -> Result<File, DbRefusal> {
        let path = self.log();
        if path.metadata().is_ok_and(|found| found.len() > LONG_LOG_BYTES) {
            let old = self.root.join("database.log.old");
            fs::rename(&path, &old).map_err(folder("set aside", &path))?;
        }
        let log = OpenOptions::new()
            .create(true)
            .append(true)
            .mode(0o600)
            .open(&path)
            .map_err(folder("write", &path))?;
        leave_to_owner(&self.root, &path)?;
        Ok(log)
    }

    /// A folder for the socket that only PostgreSQL's user and we may enter: `run` in the
    /// data folder, or a short one elsewhere when that path is too long for a socket.
    pub(super) fn socket_dir(&self) -> Result<PathBuf, DbRefusal> {
        let usual = self.root.join("run");
        if fits_a_socket(&usual) {
            return match self.make_private(&usual) {
                Ok(()) => Ok(usual),
                Err(cause) => Err(folder("make the folder", &usual)(cause)),
            };
        }
        let mark: String = Sha256::digest(self.root.as_os_str().as_encoded_bytes())[..8]
            .iter()
            .fold(String::new(), |text, byte| text + &format!("{byte:02x}"));
        let runtime = std::env::var_os("XDG_RUNTIME_DIR")
            .map(PathBuf::from)
            .filter(|path| path.is_absolute() && !self.account.is_switched());
        let places = runtime.into_iter().chain([PathBuf::from("/tmp")]);
        let mut refused = None;
        // Anybody may make folders in /tmp, so a name can be taken by somebody else:
        // then the next name is tried rather than a folder trusted that is not ours.
        for place in places {
            for attempt in 0..10 {
                let short = place.join(format!("pourday-{mark}-{attempt}"));
                if !fits_a_socket(&short) {
                    break;
                }
                match self.make_private(&short) {
                    Ok(()) => return Ok(short),
                    Err(cause) => refused = Some(folder("make the folder", &short)(cause)),
                }
            }
        }
        Err(refused.unwrap_or_else(|| {
            folder("make a socket in", &usual)(io::Error::from(io::ErrorKind::InvalidFilename))
        }))
    }

    /// Removes the socket's folder if it lies elsewhere, where others would wonder about it.
    pub(super) fn remove_socket_dir(&self, path: &Path) {
        if !path.starts_with(&self.root)
            && let Err(cause) = fs::remove_dir(path)
        {
            tracing::debug!(%cause, path = %path.display(), "left the folder of the socket");
        }
    }

    /// Makes a folder that only PostgreSQL's user may enter, or checks that it is one.
    fn make_private(&self, path: &Path) -> io::Result<()> {
        match DirBuilder::new().mode(0o700).create(path) {
            Ok(()) => {}
            Err(cause) if cause.kind() == io::ErrorKind::AlreadyExists => {}
            Err(cause) => return Err(cause),
        }
        let found = fs::symlink_metadata(path)?;
        let trusted = [geteuid().as_raw(), self.account.uid()];
        if !found.is_dir() || !trusted.contains(&found.uid()) {
            return Err(io::Error::other("it belongs to somebody else"));
        }
        fs::set_permissions(path, Permissions::from_mode(0o700))?;
        if self.account.is_switched() {
            std::os::unix::fs::chown(path, Some(self.account.uid()), None)?;
        }
        Ok(())
    }

    /// Writes into the lock who holds it and, once known, where the socket is.
    pub(super) fn sign(&mut self, socket_dir: &Path) -> Result<(), DbRefusal> {
        let path = self.root.join("pourday.lock");
        let host = nix::unistd::gethostname()
            .map_or_else(|_| "unknown".to_owned(), |name| name.to_string_lossy().into_owned());
        let text = format!(
            "process {}, started {}, on {host}\n{}\n",
            std::process::id(),
            crate::clock::Clock::system().now().0.strftime("%Y-%m-%d %H:%M UTC"),
            socket_dir.display()
        );
        let mut write = || {
            self.lock.set_len(0)?;
            self.lock.rewind()?;
            self.lock.write_all(text.as_bytes())
        };
        write().map_err(folder("write", &path))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // Closing the file would not do: a program that another thread is just starting
        // holds a copy of it for a moment.
        if let Err(cause) = self.lock.unlock() {
            tracing::debug!(%cause, "the lock goes with the file");
        }
    }
}

/// What the holder of a data folder's lock wrote into it.
#[derive(Debug)]
pub(super) struct Holder {
    pub(super) who: String,
    pub(super) socket_dir: Option<PathBuf>,
}

/// The holder of the folder's lock, if there is one just now.
pub(super) fn holder(root: &Path) -> Result<Option<Holder>, DbRefusal> {
    let file = match open_lock(root) {
        // Without the folder there never was a holder.
        Err(DbRefusal::Folder { cause, .. }) if cause.kind() == io::ErrorKind::NotFound => {
            return Ok(None);
        }
        opened => opened?,
    };
    // Shared, so that two who look at the same time do not take each other for the holder.
    match file.try_lock_shared() {
        Ok(()) => file.unlock().map(|()| None).map_err(folder("unlock", root)),
        Err(TryLockError::WouldBlock) => read_holder(root).map(Some),
        Err(TryLockError::Error(cause)) => Err(folder("lock", root)(cause)),
    }
}

/// The password kept in a data folder.
pub(super) fn read_password(root: &Path) -> Result<String, DbRefusal> {
    let path = root.join("database/password");
    let text = fs::read_to_string(&path).map_err(folder("read", &path))?;
    Ok(text.trim_end().to_owned())
}

/// Takes the folder's lock. One held for a moment only, by a command that looks whether
/// Pourday is running ([`holder`]), is waited for.
fn lock(root: &Path) -> Result<File, DbRefusal> {
    let file = open_lock(root)?;
    let until = Instant::now() + LOCK_PATIENCE;
    loop {
        match file.try_lock() {
            Ok(()) => return Ok(file),
            Err(TryLockError::WouldBlock) if Instant::now() < until => {
                std::thread::sleep(Duration::from_millis(20));
            }
            Err(TryLockError::WouldBlock) => {
                let holder = read_holder(root)?.who;
                return Err(DbRefusal::FolderInUse { folder: root.to_owned(), holder });
            }
            Err(TryLockError::Error(cause)) => {
                return Err(folder("lock", &root.join("pourday.lock"))(cause));
            }
        }
    }
}

fn open_lock(root: &Path) -> Result<File, DbRefusal> {
    let path = root.join("pourday.lock");
    let file = OpenOptions::new()
        .read(true)
        .write(true)
        .create(true)
        .truncate(false)
        .mode(0o600)
        .open(&path)
        .map_err(folder("open", &path))?;
    leave_to_owner(root, &path)?;
    Ok(file)
}

/// Makes the folder and those above it. As root, PostgreSQL's user must be able to pass
/// the new ones, whatever the umask.
fn make_reachable(root: &Path) -> Result<(), DbRefusal> {
    let new: Vec<&Path> = root.ancestors().take_while(|path| !path.exists()).collect();
    DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(root)
        .map_err(folder("make the folder", root))?;
    if geteuid().is_root() {
        for path in new {
            fs::set_permissions(path, Permissions::from_mode(0o711))
                .map_err(folder("open up", path))?;
        }
    }
    Ok(())
}

/// Lets a file made by root belong to the owner of the data folder, who could otherwise
/// not start Pourday after root did so once.
fn leave_to_owner(root: &Path, path: &Path) -> Result<(), DbRefusal> {
    if !geteuid().is_root() {
        return Ok(());
    }
    let owner = root.metadata().map_err(folder("open", root))?;
    std::os::unix::fs::chown(path, Some(owner.uid()), Some(owner.gid()))
        .map_err(folder("hand over", path))
}

fn read_holder(root: &Path) -> Result<Holder, DbRefusal> {
    let path = root.join("pourday.lock");
    let mut text = String::new();
    File::open(&path)
        .and_then(|mut file| file.read_to_string(&mut text))
        .map_err(folder("read", &path))?;
    let mut lines = text.lines();
    let who = lines.next().filter(|line| !line.is_empty());
    Ok(Holder {
        // Between taking the lock and signing it lies a moment.
        who: who.unwrap_or("which is just starting").to_owned(),
        socket_dir: lines.next().map(PathBuf::from),
    })
}

fn fits_a_socket(folder: &Path) -> bool {
    folder.join(SOCKET_NAME).as_os_str().len() <= LONGEST_SOCKET_PATH
}
