//! The user PostgreSQL runs as.
//!
//! PostgreSQL refuses to run as root. Started as root, Pourday runs it as whoever
//! already owns the database, else as the user `postgres`, else as `nobody`.

use std::os::unix::fs::MetadataExt;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use nix::unistd::{Uid, User, getegid, geteuid};

use crate::db::DbRefusal;
use crate::db::refusal::folder;

/// A user to run PostgreSQL as.
#[derive(Debug, Clone)]
pub(super) struct Account {
    name: String,
    uid: u32,
    gid: u32,
    /// Whether this is somebody else than the user we run as.
    switch: bool,
}

impl Account {
    /// Chooses the user for a database that may or may not exist yet.
    pub(super) fn choose(database: &Path) -> Result<Self, DbRefusal> {
        let me = geteuid();
        if !me.is_root() {
            let gid = getegid().as_raw();
            return Ok(Self { name: name_of(me.as_raw()), uid: me.as_raw(), gid, switch: false });
        }
        if let Ok(found) = database.metadata()
            && found.uid() != 0
        {
            let (uid, gid) = (found.uid(), found.gid());
            return Ok(Self { name: name_of(uid), uid, gid, switch: true });
        }
        ["postgres", "nobody"]
            .iter()
            .find_map(|name| User::from_name(name).ok().flatten())
            .map(|user| Self {
                name: user.name,
                uid: user.uid.as_raw(),
                gid: user.gid.as_raw(),
                switch: true,
            })
            .ok_or(DbRefusal::NoOrdinaryUser)
    }

    /// The user's number.
    pub(super) fn uid(&self) -> u32 {
        self.uid
    }

    /// Whether we run as root and PostgreSQL as somebody else.
    pub(super) fn is_switched(&self) -> bool {
        self.switch
    }

    /// A command that runs as this user with a clean environment, in a process group of
    /// its own so that Ctrl-C in the terminal reaches Pourday alone and it can drain first.
    pub(super) fn command(&self, program: &Path) -> Command {
        let mut command = Command::new(program);
        command
            .env_clear()
            .env("PATH", "/usr/local/bin:/usr/bin:/bin")
            .env("LC_ALL", "C")
            .env("TZ", "UTC")
            .current_dir("/")
            .process_group(0)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        if self.switch {
            command.uid(self.uid).gid(self.gid);
        }
        command
    }

    /// Gives a file or folder to this user.
    pub(super) fn own(&self, path: &Path) -> Result<(), DbRefusal> {
        if !self.switch {
            return Ok(());
        }
        std::os::unix::fs::chown(path, Some(self.uid), Some(self.gid))
            .map_err(folder("hand over", path))
    }

    /// Checks by trying that this user can reach `path`, and else names the first folder
    /// on the way that stops it.
    pub(super) fn check_passable(&self, path: &Path) -> Result<(), DbRefusal> {
        if !self.switch || self.can_enter(path)? {
            return Ok(());
        }
        let mut way: Vec<&Path> = path.ancestors().collect();
        way.reverse();
        let mut blocked_at = path.to_owned();
        for step in way {
            if !self.can_enter(step)? {
                blocked_at = step.to_owned();
                break;
            }
        }
        Err(DbRefusal::NotPassable { user: self.name.clone(), blocked_at })
    }

    fn can_enter(&self, path: &Path) -> Result<bool, DbRefusal> {
        let shell = PathBuf::from("/bin/sh");
        self.command(&shell)
            .args(["-c", r#"cd "$1""#, "pourday"])
            .arg(path)
            .status()
            .map(|status| status.success())
            .map_err(|cause| DbRefusal::CannotRun { program: shell, cause })
    }
}

fn name_of(uid: u32) -> String {
    User::from_uid(Uid::from_raw(uid))
        .ok()
        .flatten()
        .map_or_else(|| uid.to_string(), |user| user.name)
}
