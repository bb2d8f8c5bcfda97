//! The backup file: a dump, and a last line that tells whether it is whole.
//!
//! The line reads `pourday-backup 1 step=6 made=2026-03-01T04:00:00Z sha256=…`, where the
//! sum (FIPS 180-4) is over all that stands before it in the file, the line's own
//! beginning included.

use std::fs::{self, File, OpenOptions};
use std::io::{self, BufReader, Read, Seek, SeekFrom, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use sha2::{Digest, Sha256};

use crate::db::DbRefusal;

const MARK: &str = "\npourday-backup ";
const VERSION: &str = "1";
/// Longer than the last line can be.
const LONGEST_SEAL: u64 = 256;

/// What the last line says about the backup.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Seal {
    pub(super) step: i64,
    pub(super) made_at: Timestamp,
}

impl Seal {
    /// The last line up to the sum.
    fn beginning(&self) -> String {
        format!("{MARK}{VERSION} step={} made={} sha256=", self.step, self.made_at)
    }
}

/// A backup being written under another name, removed unless it is finished.
#[derive(Debug)]
pub(super) struct Part {
    path: PathBuf,
    target: PathBuf,
}

impl Part {
    /// Begins the file that will be `target`, which must not exist.
    pub(super) fn begin(target: &Path) -> Result<Self, DbRefusal> {
        if fs::symlink_metadata(target).is_ok() {
            return Err(DbRefusal::BackupExists { path: target.to_owned() });
        }
        let refuse = |cause| file_refusal("write", target, cause);
        let name = target.file_name().ok_or_else(|| refuse(io::ErrorKind::IsADirectory.into()))?;
        let mut part = name.to_owned();
        part.push(format!(".part-{}", uuid::Uuid::new_v4().simple()));
        let path = target.with_file_name(part);
        // A backup holds everything about everybody, so it is for its owner's eyes only.
        OpenOptions::new().write(true).create_new(true).mode(0o600).open(&path).map_err(refuse)?;
        Ok(Self { path, target: target.to_owned() })
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Seals the file, forces it to disk and gives it its name; returns its length.
    pub(super) fn finish(self, seal: &Seal) -> Result<u64, DbRefusal> {
        self.seal_and_name(seal).map_err(|cause| {
            if cause.kind() == io::ErrorKind::AlreadyExists {
                DbRefusal::BackupExists { path: self.target.clone() }
            } else {
                file_refusal("write", &self.target, cause)
            }
        })
    }

    /// Gives the file its name, but never the name of a file made meanwhile.
    fn name(&self) -> io::Result<()> {
        match fs::hard_link(&self.path, &self.target) {
            Err(cause) if cause.kind() != io::ErrorKind::AlreadyExists => {
                // File systems of memory sticks know no second names.
                if fs::symlink_metadata(&self.target).is_ok() {
                    return Err(io::ErrorKind::AlreadyExists.into());
                }
                fs::rename(&self.path, &self.target)
            }
            linked => linked,
        }
    }

    fn seal_and_name(&self, seal: &Seal) -> io::Result<u64> {
        let mut file = OpenOptions::new().read(true).append(true).open(&self.path)?;
        let mut sum = Sha256::new();
        feed(&mut sum, &mut file, u64::MAX)?;
        let beginning = seal.beginning();
        sum.update(beginning.as_bytes());
        file.write_all(format!("{beginning}{}\n", hex(&sum.finalize())).as_bytes())?;
        file.sync_all()?;
        self.name()?;
        let parent = self.target.parent().filter(|path| !path.as_os_str().is_empty());
        File::open(parent.unwrap_or(Path::new(".")))?.sync_all()?;
        file.metadata().map(|found| found.len())
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        if let Err(cause) = fs::remove_file(&self.path) {
            tracing::debug!(%cause, path = %self.path.display(), "left a part of a backup");
        }
    }
}

/// Reads a backup from end to end and checks that it is whole.
pub(super) fn check(path: &Path) -> Result<Seal, DbRefusal> {
    let damaged = |why: &str| DbRefusal::BackupDamaged { path: path.to_owned(), why: why.into() };
    let unreadable = |cause| file_refusal("read", path, cause);
    let mut file = File::open(path).map_err(unreadable)?;
    let length = file.metadata().map_err(unreadable)?.len();
    let tail_from = length.saturating_sub(LONGEST_SEAL);
    let mut tail = Vec::new();
    file.seek(SeekFrom::Start(tail_from)).map_err(unreadable)?;
    (&mut file).take(LONGEST_SEAL).read_to_end(&mut tail).map_err(unreadable)?;
    let at = tail
        .windows(MARK.len())
        .rposition(|window| window == MARK.as_bytes())
        .ok_or_else(|| damaged("its last line is missing, so it was cut short or is no backup"))?;
    let line = std::str::from_utf8(&tail[at..]).map_err(|_| damaged("its last line is spoilt"))?;
    let (seal, expected) = parse(line).ok_or_else(|| damaged("its last line is spoilt"))?;
    let mut sum = Sha256::new();
    file.rewind().map_err(unreadable)?;
    feed(&mut sum, &mut file, tail_from + at as u64).map_err(unreadable)?;
    sum.update(seal.beginning().as_bytes());
    if hex(&sum.finalize()) != expected {
        return Err(damaged("its contents do not agree with the sum in its last line"));
    }
    Ok(seal)
}

fn parse(line: &str) -> Option<(Seal, &str)> {
    let rest = line.strip_prefix(MARK)?.strip_prefix(VERSION)?.strip_prefix(" step=")?;
    let (step, rest) = rest.split_once(" made=")?;
    let (made_at, rest) = rest.split_once(" sha256=")?;
    let sum = rest.strip_suffix('\n').filter(|sum| sum.len() == 64)?;
    Some((Seal { step: step.parse().ok()?, made_at: made_at.parse().ok()? }, sum))
}

fn feed(sum: &mut Sha256, file: &mut File, length: u64) -> io::Result<()> {
    let mut reader = BufReader::with_capacity(1 << 20, file.take(length));
    let mut chunk = vec![0; 1 << 16];
    loop {
        match reader.read(&mut chunk)? {
            0 => return Ok(()),
            read => sum.update(&chunk[..read]),
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn file_refusal(doing: &'static str, path: &Path, cause: io::Error) -> DbRefusal {
    DbRefusal::BackupFile { doing, path: path.to_owned(), cause }
}
