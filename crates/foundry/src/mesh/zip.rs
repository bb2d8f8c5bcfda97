//! The little of ZIP that 3MF needs: finding parts, unpacking them within limits,
//! and writing parts without packing them.
//!
//! Source: PKWARE, .ZIP File Format Specification (APPNOTE) 6.3 (from memory).

use super::read::{Format, Limits, Place, ReadRefusal};

const END: &[u8; 4] = b"PK\x05\x06";
const ENTRY: &[u8; 4] = b"PK\x01\x02";
const LOCAL: &[u8; 4] = b"PK\x03\x04";

/// An opened archive.
pub(super) struct Archive<'a> {
    bytes: &'a [u8],
    entries: Vec<Entry>,
    /// How many more bytes may be unpacked.
    left: usize,
    limits: &'a Limits,
}

struct Entry {
    name: String,
    encrypted: bool,
    method: u16,
    crc: u32,
    packed: usize,
    unpacked: usize,
    local_at: usize,
}

impl<'a> Archive<'a> {
    /// Reads the list of parts at the end of the archive.
    pub(super) fn open(bytes: &'a [u8], limits: &'a Limits) -> Result<Self, ReadRefusal> {
        // The list ends in a record of 22 bytes and a comment of at most 65535.
        let search_from = bytes.len().saturating_sub(22 + 65_535);
        let end = bytes[search_from..]
            .windows(4)
            .rposition(|window| window == END)
            .map(|at| search_from + at)
            .filter(|end| end + 22 <= bytes.len())
            .ok_or(ReadRefusal::Truncated {
                format: Format::ThreeMf,
                detail: "the list of parts at the end of the archive is missing".into(),
            })?;
        let count = short(bytes, end + 10);
        let mut at = long(bytes, end + 16);
        if count == 0xffff || at == 0xffff_ffff {
            return Err(ReadRefusal::Unsupported {
                format: Format::ThreeMf,
                what: "the large archive variant (Zip64)".into(),
                instead: "Export it with a coarser tolerance, or as binary STL.",
            });
        }
        let mut entries = Vec::new();
        for _ in 0..count {
            let fixed = bytes.get(at..at + 46).filter(|entry| entry.starts_with(ENTRY));
            let Some(entry) = fixed else {
                return Err(damaged(at, "the list of parts is broken"));
            };
            let (name_length, extra, comment) =
                (short(entry, 28), short(entry, 30), short(entry, 32));
            let name = bytes
                .get(at + 46..at + 46 + name_length)
                .ok_or_else(|| damaged(at, "the list of parts is broken"))?;
            entries.push(Entry {
                name: String::from_utf8_lossy(name).into_owned(),
                encrypted: short(entry, 8) & 1 != 0,
                method: short(entry, 10) as u16,
                crc: long(entry, 16) as u32,
                packed: long(entry, 20),
                unpacked: long(entry, 24),
                local_at: long(entry, 42),
            });
            at += 46 + name_length + extra + comment;
        }
        Ok(Self { bytes, entries, left: limits.unpacked_bytes, limits })
    }

    /// The names of the parts.
    pub(super) fn names(&self) -> impl Iterator<Item = &str> {
        self.entries.iter().map(|entry| entry.name.as_str())
    }

    /// Unpacks a part; `None` when there is none of that name.
    ///
    /// Names of parts are compared without regard to case, as 3MF's packaging asks.
    pub(super) fn unpack(&mut self, name: &str) -> Result<Option<Vec<u8>>, ReadRefusal> {
        let found = self.entries.iter().find(|entry| entry.name.eq_ignore_ascii_case(name));
        let Some(entry) = found else {
            return Ok(None);
        };
        if entry.encrypted {
            return Err(ReadRefusal::Unsupported {
                format: Format::ThreeMf,
                what: "encryption".into(),
                instead: "Export it without a password.",
            });
        }
        let too_large = ReadRefusal::UnpacksTooLarge {
            limit: self.limits.unpacked_bytes,
            ratio: self.limits.unpack_ratio,
        };
        let by_ratio = entry.packed.saturating_mul(self.limits.unpack_ratio).max(1 << 20);
        if entry.unpacked > self.left || entry.unpacked > by_ratio {
            return Err(too_large);
        }
        let at = entry.local_at;
        let local = self.bytes.get(at..at + 30).filter(|local| local.starts_with(LOCAL));
        let local = local.ok_or_else(|| damaged(at, "a part is not where the list says"))?;
        let start = at + 30 + short(local, 26) + short(local, 28);
        let packed =
            self.bytes.get(start..start.saturating_add(entry.packed)).ok_or_else(|| {
                ReadRefusal::Truncated {
                    format: Format::ThreeMf,
                    detail: format!("the part \"{}\" is incomplete", entry.name).into(),
                }
            })?;
        let unpacked = match entry.method {
            0 => packed.to_vec(),
            // More than the size stated stops the unpacking.
            8 => miniz_oxide::inflate::decompress_to_vec_with_limit(packed, entry.unpacked)
                .map_err(|_| damaged(start, "a part cannot be unpacked to the size it states"))?,
            method => {
                return Err(ReadRefusal::Unsupported {
                    format: Format::ThreeMf,
                    what: format!("packing method {method}").into(),
                    instead: "Export it again, or as binary STL.",
                });
            }
        };
        if unpacked.len() != entry.unpacked || crc32(&unpacked) != entry.crc {
            return Err(damaged(start, "a part's check sum is wrong"));
        }
        self.left -= unpacked.len();
        Ok(Some(unpacked))
    }
}

fn damaged(at: usize, what: &'static str) -> ReadRefusal {
    ReadRefusal::Malformed { format: Format::ThreeMf, place: Place::Byte(at), what: what.into() }
}

/// A 16-bit number; the caller has checked that it is there.
fn short(bytes: &[u8], at: usize) -> usize {
    usize::from(u16::from_le_bytes([bytes[at], bytes[at + 1]]))
}

/// A 32-bit number; the caller has checked that it is there.
fn long(bytes: &[u8], at: usize) -> usize {
    u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]]) as usize
}

/// Writes an archive of named parts, unpacked; `None` when it would need the large variant.
pub(super) fn store(parts: &[(&str, &[u8])]) -> Option<Vec<u8>> {
    // 1 January 1980, the earliest date there is: the same parts give the same bytes.
    const DATE: u16 = 0x0021;
    let mut archive = Vec::new();
    let mut list = Vec::new();
    for (name, content) in parts {
        let at = u32::try_from(archive.len()).ok()?;
        let size = u32::try_from(content.len()).ok()?;
        let name_length = u16::try_from(name.len()).ok()?;
        let mut shared = Vec::new();
        // Version needed 2.0, no flags, stored, no time.
        for word in [20, 0, 0, 0, DATE] {
            shared.extend_from_slice(&word.to_le_bytes());
        }
        for word in [crc32(content), size, size] {
            shared.extend_from_slice(&word.to_le_bytes());
        }
        shared.extend_from_slice(&name_length.to_le_bytes());
        shared.extend_from_slice(&[0, 0]);
        archive.extend_from_slice(LOCAL);
        archive.extend_from_slice(&shared);
        archive.extend_from_slice(name.as_bytes());
        archive.extend_from_slice(content);
        list.extend_from_slice(ENTRY);
        list.extend_from_slice(&20_u16.to_le_bytes());
        list.extend_from_slice(&shared);
        // No comment, first disk, no attributes.
        list.extend_from_slice(&[0; 10]);
        list.extend_from_slice(&at.to_le_bytes());
        list.extend_from_slice(name.as_bytes());
    }
    let count = u16::try_from(parts.len()).ok()?;
    let list_at = u32::try_from(archive.len()).ok()?;
    let list_size = u32::try_from(list.len()).ok()?;
    archive.extend_from_slice(&list);
    archive.extend_from_slice(END);
    archive.extend_from_slice(&[0; 4]);
    archive.extend_from_slice(&count.to_le_bytes());
    archive.extend_from_slice(&count.to_le_bytes());
    archive.extend_from_slice(&list_size.to_le_bytes());
    archive.extend_from_slice(&list_at.to_le_bytes());
    archive.extend_from_slice(&[0, 0]);
    Some(archive)
}

/// The check sum of ZIP (ISO 3309, reflected polynomial 0xEDB88320).
pub(super) fn crc32(bytes: &[u8]) -> u32 {
    const TABLE: [u32; 256] = {
        let mut table = [0; 256];
        let mut at = 0;
        while at < 256 {
            let mut value = at as u32;
            let mut bit = 0;
            while bit < 8 {
                value = if value & 1 == 1 { (value >> 1) ^ 0xedb8_8320 } else { value >> 1 };
                bit += 1;
            }
            table[at] = value;
            at += 1;
        }
        table
    };
    !bytes.iter().fold(!0, |crc, &byte| TABLE[usize::from(crc as u8 ^ byte)] ^ (crc >> 8))
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_check_sum_of_the_nine_digits_is_the_published_one() {
        // The check value usually printed with CRC-32/ISO-HDLC.
        assert_eq!(super::crc32(b"123456789"), 0xcbf4_3926);
    }
}
