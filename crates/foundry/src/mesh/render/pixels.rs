//! A picture and its file form.

use super::super::zip::crc32;

/// A picture: rows from the top, four bytes a pixel: red, green, blue, cover.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pixels {
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// The bytes; the cover is zero where there is nothing, colours are not multiplied by it.
    pub rgba: Vec<u8>,
}

impl Pixels {
    /// The picture as a PNG file.
    ///
    /// # Source
    /// ISO/IEC 15948, Portable Network Graphics (from memory).
    #[must_use]
    pub fn png(&self) -> Vec<u8> {
        let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
        let mut header = Vec::new();
        header.extend_from_slice(&self.width.to_be_bytes());
        header.extend_from_slice(&self.height.to_be_bytes());
        // Eight bits a channel, four channels, the only packing, filter and order.
        header.extend_from_slice(&[8, 6, 0, 0, 0]);
        append_chunk(&mut file, *b"IHDR", &header);
        let row_bytes = self.width as usize * 4;
        let mut rows = Vec::with_capacity(self.rgba.len() + self.height as usize);
        for row in self.rgba.chunks_exact(row_bytes.max(1)) {
            // Each byte is stored as its difference to the pixel on its left, which packs better.
            rows.push(1);
            rows.extend((0..row.len()).map(|at| {
                let left = if at >= 4 { row[at - 4] } else { 0 };
                row[at].wrapping_sub(left)
            }));
        }
        append_chunk(&mut file, *b"IDAT", &miniz_oxide::deflate::compress_to_vec_zlib(&rows, 6));
        append_chunk(&mut file, *b"IEND", &[]);
        file
    }
}

fn append_chunk(file: &mut Vec<u8>, name: [u8; 4], content: &[u8]) {
    // A picture of at most 4096 pixels square stays far below four gigabytes.
    file.extend_from_slice(&(content.len() as u32).to_be_bytes());
    let start = file.len();
    file.extend_from_slice(&name);
    file.extend_from_slice(content);
    let check = crc32(&file[start..]);
    file.extend_from_slice(&check.to_be_bytes());
}
