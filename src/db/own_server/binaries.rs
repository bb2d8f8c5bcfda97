//! Finding an installed PostgreSQL.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The oldest major version Pourday works with.
pub(in crate::db) const OLDEST: u32 = 14;

/// Folders under which each version has a folder of its own, with what stands between
/// that folder and its programs.
const VERSIONED: &[(&str, &str, &str)] = &[
    // parent, how the version's folder begins, from there to the programs
    ("/usr/lib/postgresql", "", "bin"),
    ("/usr/lib64", "pgsql", "bin"),
    ("/usr", "pgsql-", "bin"),
    ("/usr/libexec", "postgresql", ""),
    ("/usr/local", "pgsql", "bin"),
    ("/opt/homebrew/opt", "postgresql", "bin"),
    ("/usr/local/opt", "postgresql", "bin"),
    ("/home/linuxbrew/.linuxbrew/opt", "postgresql", "bin"),
    ("/opt/local/lib", "postgresql", "bin"),
    ("/Applications/Postgres.app/Contents/Versions", "", "bin"),
];

/// One installed PostgreSQL.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::db) struct Installed {
    /// The folder of its programs.
    pub(in crate::db) bin: PathBuf,
    /// Its major version.
    pub(in crate::db) major: u32,
}

impl Installed {
    /// The path of one of its programs.
    pub(in crate::db) fn program(&self, name: &str) -> PathBuf {
        self.bin.join(name)
    }
}

/// Every PostgreSQL that offers all of `programs`, newest first. The version is that of
/// the first program.
pub(in crate::db) fn installed(programs: &[&str]) -> Vec<Installed> {
    let on_path = std::env::var_os("PATH")
        .map(|path| std::env::split_paths(&path).collect::<Vec<_>>())
        .unwrap_or_default();
    installed_in(on_path.into_iter().chain(usual_folders()), programs)
}

fn installed_in(folders: impl Iterator<Item = PathBuf>, programs: &[&str]) -> Vec<Installed> {
    let Some(first) = programs.first() else { return Vec::new() };
    let mut seen = BTreeSet::new();
    let mut found: Vec<Installed> = folders
        .filter(|folder| folder.is_absolute())
        .filter_map(|folder| home_of(&folder, first))
        .filter(|bin| programs.iter().all(|program| bin.join(program).is_file()))
        .filter(|bin| seen.insert(bin.clone()))
        .filter_map(|bin| {
            let major = major_of(&bin.join(first))?;
            (major >= OLDEST).then_some(Installed { bin, major })
        })
        .collect();
    // A stable sort: of two installations of one version, the one earlier on PATH wins.
    found.sort_by_key(|one| std::cmp::Reverse(one.major));
    found
}

/// The folder a program really lies in. Debian's `/usr/bin/pg_dump` is a link to a script
/// that chooses a version by itself; behind such a link there is no such program.
fn home_of(folder: &Path, program: &str) -> Option<PathBuf> {
    let real = folder.join(program).canonicalize().ok()?;
    let is_the_program = real.file_name().is_some_and(|name| name == program);
    is_the_program.then(|| real.parent().map(Path::to_owned)).flatten()
}

fn usual_folders() -> impl Iterator<Item = PathBuf> {
    VERSIONED.iter().flat_map(|(parent, begins, rest)| {
        let mut folders: Vec<PathBuf> = fs::read_dir(parent)
            .into_iter()
            .flatten()
            .flatten()
            .filter(|entry| entry.file_name().to_string_lossy().starts_with(begins))
            .map(|entry| entry.path().join(rest))
            .collect();
        folders.sort();
        folders
    })
}

fn major_of(program: &Path) -> Option<u32> {
    let said = Command::new(program)
        .arg("--version")
        .env("LC_ALL", "C")
        .stdin(Stdio::null())
        .stderr(Stdio::null())
        .output()
        .ok()?;
    parse_major(&String::from_utf8_lossy(&said.stdout))
}

/// Reads the major version from a line such as `postgres (PostgreSQL) 15.4 (Debian 1)`.
fn parse_major(said: &str) -> Option<u32> {
    let after = said.split_once("(PostgreSQL)")?.1.trim_start();
    let digits: String = after.chars().take_while(char::is_ascii_digit).collect();
    digits.parse().ok()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::os::unix::fs::{PermissionsExt, symlink};

    use super::*;

    #[test]
    fn versions_are_read_from_what_the_programs_say() {
        assert_eq!(parse_major("postgres (PostgreSQL) 15.18 (Debian 15.18-0)\n"), Some(15));
        assert_eq!(parse_major("pg_dump (PostgreSQL) 18beta1"), Some(18));
        assert_eq!(parse_major("initdb (PostgreSQL) 9.6.24"), Some(9));
        assert_eq!(parse_major("something else 15"), None);
    }

    fn pretend(folder: &Path, version: &str) {
        fs::create_dir_all(folder).unwrap();
        for program in ["postgres", "initdb"] {
            let path = folder.join(program);
            fs::write(&path, format!("#!/bin/sh\necho '{program} (PostgreSQL) {version}'\n"))
                .unwrap();
            fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
        }
    }

    #[test]
    fn the_newest_comes_first_and_old_or_partial_ones_are_left_out() {
        let tmp = tempfile::tempdir().unwrap();
        let tmp = tmp.path().canonicalize().unwrap();
        let at = |name: &str| tmp.join(name);
        pretend(&at("a"), "14.1");
        pretend(&at("b"), "13.9");
        pretend(&at("c"), "17.2");
        pretend(&at("d"), "17.3");
        pretend(&at("e"), "18.0");
        fs::remove_file(at("e").join("initdb")).unwrap();
        // A link to the real program counts for it, one to a script that stands for it does not.
        pretend(&at("f"), "18.0");
        fs::rename(at("f").join("postgres"), at("f").join("chooses_itself")).unwrap();
        symlink(at("f").join("chooses_itself"), at("f").join("postgres")).unwrap();
        fs::create_dir(at("g")).unwrap();
        symlink(at("c").join("postgres"), at("g").join("postgres")).unwrap();
        let folders = ["a", "b", "g", "c", "d", "e", "f", "missing"].map(at);
        let found = installed_in(folders.into_iter(), &["postgres", "initdb"]);
        let found: Vec<_> = found.iter().map(|one| (one.major, one.bin.clone())).collect();
        assert_eq!(found, [(17, at("c")), (17, at("d")), (14, at("a"))]);
    }
}
