//! Builds packed archives for tests, on its own, not with the code that is tested.

/// An archive of packed parts.
pub(crate) fn archive(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut list = Vec::new();
    for (name, content) in parts {
        let at = bytes.len() as u32;
        let packed = miniz_oxide::deflate::compress_to_vec(content, 6);
        let mut fields = vec![20, 0, 0, 0, 8, 0, 0, 0, 0, 0];
        for number in [crc32(content), packed.len() as u32, content.len() as u32] {
            fields.extend_from_slice(&number.to_le_bytes());
        }
        fields.extend_from_slice(&(name.len() as u16).to_le_bytes());
        fields.extend_from_slice(&[0, 0]);
        bytes.extend_from_slice(b"PK\x03\x04");
        bytes.extend_from_slice(&fields);
        bytes.extend_from_slice(name.as_bytes());
        bytes.extend_from_slice(&packed);
        list.extend_from_slice(b"PK\x01\x02\x14\x00");
        list.extend_from_slice(&fields);
        list.extend_from_slice(&[0; 10]);
        list.extend_from_slice(&at.to_le_bytes());
        list.extend_from_slice(name.as_bytes());
    }
    let (list_at, count) = (bytes.len() as u32, parts.len() as u16);
    bytes.extend_from_slice(&list);
    bytes.extend_from_slice(b"PK\x05\x06\0\0\0\0");
    bytes.extend_from_slice(&count.to_le_bytes());
    bytes.extend_from_slice(&count.to_le_bytes());
    bytes.extend_from_slice(&(list.len() as u32).to_le_bytes());
    bytes.extend_from_slice(&list_at.to_le_bytes());
    bytes.extend_from_slice(&[0, 0]);
    bytes
}

fn crc32(bytes: &[u8]) -> u32 {
    let mut crc = u32::MAX;
    for &byte in bytes {
        crc ^= u32::from(byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { crc >> 1 ^ 0xedb8_8320 } else { crc >> 1 };
        }
    }
    !crc
}
