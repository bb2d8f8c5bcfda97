//! Photos of pieces: made small, with nothing in them but the picture.

use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};
use sqlx::{FromRow, PgConnection, PgPool};

use crate::clock::Moment;
use crate::id::{FileId, PersonId, PhotoId, PieceId};
use crate::pieces::Stage;

/// A phone's photo at its largest.
pub(super) const MOST_BYTES: usize = 40 << 20;

/// Large enough to see a pore, small enough for a phone's line.
const LONGEST_SIDE: u32 = 1600;

/// More than any camera takes; a crafted file must not fill the memory.
const MOST_PIXELS_A_SIDE: u32 = 20_000;
const MOST_MEMORY: u64 = 512 << 20;

/// Why a photo was not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub(super) enum PhotoRefusal {
    #[error("Choose a photo first.")]
    Nothing,
    #[error("This photo is larger than 40 MB. Send a smaller one.")]
    TooLarge,
    #[error("This is no JPEG, PNG or WebP picture. Phones can be set to take JPEG.")]
    OtherFormat,
    #[error("This photo did not arrive whole. Nothing was kept; send it again.")]
    CutShort,
    #[error("This picture is damaged or far too large to be opened. Send another one.")]
    Unreadable,
}

/// Opens a photo, turns it upright, shrinks it, and writes it anew as JPEG, so that where
/// and with what it was taken is not kept.
pub(super) fn take(bytes: &[u8]) -> Result<Vec<u8>, PhotoRefusal> {
    if bytes.is_empty() {
        return Err(PhotoRefusal::Nothing);
    }
    if bytes.len() > MOST_BYTES {
        return Err(PhotoRefusal::TooLarge);
    }
    let mut reader = ImageReader::new(Cursor::new(bytes))
        .with_guessed_format()
        .map_err(|_| PhotoRefusal::Unreadable)?;
    if !matches!(reader.format(), Some(ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP)) {
        return Err(PhotoRefusal::OtherFormat);
    }
    // Decoders fill up what is missing with grey.
    if reader.format() == Some(ImageFormat::Jpeg) && !jpeg_is_whole(bytes) {
        return Err(PhotoRefusal::CutShort);
    }
    let mut limits = Limits::default();
    limits.max_image_width = Some(MOST_PIXELS_A_SIDE);
    limits.max_image_height = Some(MOST_PIXELS_A_SIDE);
    limits.max_alloc = Some(MOST_MEMORY);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|_| PhotoRefusal::Unreadable)?;
    let orientation = decoder.orientation().map_err(|_| PhotoRefusal::Unreadable)?;
    let mut picture = DynamicImage::from_decoder(decoder).map_err(|_| PhotoRefusal::Unreadable)?;
    picture.apply_orientation(orientation);
    if picture.width().max(picture.height()) > LONGEST_SIDE {
        picture = picture.thumbnail(LONGEST_SIDE, LONGEST_SIDE);
    }
    let mut out = Vec::new();
    JpegEncoder::new_with_quality(&mut out, 85)
        .encode_image(&picture.into_rgb8())
        .map_err(|_| PhotoRefusal::Unreadable)?;
    Ok(out)
}

/// Whether a JPEG goes on to its end marker: segments with their lengths, and scans, in which
/// 0xFF is followed by 0x00 or a restart marker (ITU-T T.81, annex B). What a phone writes behind
/// the end, as a few seconds of film, does not matter.
fn jpeg_is_whole(bytes: &[u8]) -> bool {
    const START: u8 = 0xd8;
    const END: u8 = 0xd9;
    let mut at = 0;
    loop {
        // The next marker; within a scan, what only looks like one is passed over.
        let Some(found) = bytes.get(at..).and_then(|rest| {
            rest.windows(2).position(|two| {
                two[0] == 0xff && !matches!(two[1], 0x00 | 0x01 | 0xd0..=0xd7 | 0xff)
            })
        }) else {
            return false;
        };
        at += found + 2;
        match bytes.get(at - 1) {
            Some(&END) => return true,
            Some(&START) => {}
            Some(_) => {
                let Some(length) = bytes.get(at..at + 2) else { return false };
                at += usize::from(u16::from_be_bytes([length[0], length[1]]));
            }
            None => return false,
        }
    }
}

/// A photo of a piece.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Photo {
    pub(super) id: PhotoId,
    pub(super) file_id: FileId,
    pub(super) stage: Stage,
    pub(super) caption: String,
    pub(super) shared: bool,
    pub(super) taken_at: Moment,
    pub(super) person: Option<String>,
}

pub(super) async fn of(pool: &PgPool, piece: PieceId) -> Result<Vec<Photo>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.id, f.file_id, f.stage::text AS stage, f.caption, f.shared, f.taken_at, w.name AS person
         FROM photos f LEFT JOIN people w ON w.id = f.person_id
         WHERE f.piece_id = $1 AND f.taken_off_at IS NULL ORDER BY f.taken_at DESC, f.id DESC LIMIT 200",
    )
    .bind(piece)
    .fetch_all(pool)
    .await
}

/// A photo to be kept.
#[derive(Clone, Copy, Debug)]
pub(super) struct NewPhoto<'a> {
    pub(super) piece: PieceId,
    pub(super) file: FileId,
    pub(super) stage: Stage,
    pub(super) caption: &'a str,
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    photo: &NewPhoto<'_>,
    now: Moment,
    person: PersonId,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO photos (id, piece_id, file_id, stage, caption, taken_at, person_id)
         VALUES ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(PhotoId::new())
    .bind(photo.piece)
    .bind(photo.file)
    .bind(photo.stage)
    .bind(photo.caption)
    .bind(now)
    .bind(person)
    .execute(conn)
    .await?;
    Ok(())
}

/// Shows a photo to the client, or no longer.
pub(super) async fn share(
    conn: &mut PgConnection,
    piece: PieceId,
    photo: PhotoId,
    shared: bool,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE photos SET shared = $3 WHERE piece_id = $1 AND id = $2 AND taken_off_at IS NULL",
    )
    .bind(piece)
    .bind(photo)
    .bind(shared)
    .execute(conn)
    .await?;
    Ok(())
}

/// Takes a photo off a piece; from then on nobody sees it.
pub(super) async fn remove(
    conn: &mut PgConnection,
    piece: PieceId,
    photo: PhotoId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE photos SET taken_off_at = $3, shared = false
         WHERE piece_id = $1 AND id = $2 AND taken_off_at IS NULL",
    )
    .bind(piece)
    .bind(photo)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Puts a photo back that was taken off by mistake. The client does not see it again by that.
pub(super) async fn put_back(
    conn: &mut PgConnection,
    piece: PieceId,
    photo: PhotoId,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE photos SET taken_off_at = NULL WHERE piece_id = $1 AND id = $2")
        .bind(piece)
        .bind(photo)
        .execute(conn)
        .await?;
    Ok(())
}

/// For how long a photo that was taken off is offered to be put back.
const OFFERED_MIN: i64 = 60;

/// The photo that was taken off last, a short time ago, and when.
pub(super) async fn just_off(
    pool: &PgPool,
    piece: PieceId,
    now: Moment,
) -> Result<Option<(PhotoId, Moment)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, taken_off_at FROM photos WHERE piece_id = $1 AND taken_off_at > $2
         ORDER BY taken_off_at DESC LIMIT 1",
    )
    .bind(piece)
    .bind(now.plus_minutes(-OFFERED_MIN))
    .fetch_optional(pool)
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(width: u32, height: u32, format: ImageFormat) -> Vec<u8> {
        let mut out = Cursor::new(Vec::new());
        DynamicImage::new_rgb8(width, height).write_to(&mut out, format).unwrap();
        out.into_inner()
    }

    #[test]
    fn a_large_photo_is_made_small_and_keeps_its_shape() {
        for format in [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP] {
            let kept = take(&picture(3200, 1600, format)).unwrap();
            let kept = image::load_from_memory(&kept).unwrap();
            assert_eq!((kept.width(), kept.height()), (1600, 800));
        }
    }

    #[test]
    fn what_the_camera_wrote_beside_the_picture_is_not_kept() {
        // A JPEG whose EXIF says "turn by a quarter", with a maker's name in it.
        let plain = picture(40, 20, ImageFormat::Jpeg);
        let tiff: &[u8] = b"II*\0\x08\0\0\0\x02\0\
            \x0f\x01\x02\0\x08\0\0\0\x26\0\0\0\
            \x12\x01\x03\0\x01\0\0\0\x06\0\0\0\
            \0\0\0\0Camera!\0";
        let mut exif = vec![0xff, 0xd8, 0xff, 0xe1];
        exif.extend(u16::try_from(tiff.len() + 8).unwrap().to_be_bytes());
        exif.extend(b"Exif\0\0");
        exif.extend(tiff);
        exif.extend(&plain[2..]);
        let kept = take(&exif).unwrap();
        let has = |what: &[u8]| kept.windows(what.len()).any(|part| part == what);
        assert!(!has(b"Exif") && !has(b"Camera"));
        let kept = image::load_from_memory(&kept).unwrap();
        assert_eq!((kept.width(), kept.height()), (20, 40), "it stands upright");
    }

    #[test]
    fn what_is_no_photo_is_refused() {
        assert_eq!(take(b""), Err(PhotoRefusal::Nothing));
        assert_eq!(take(b"GIF89a and so on"), Err(PhotoRefusal::OtherFormat));
        assert_eq!(take(b"<svg onload=alert(1)>"), Err(PhotoRefusal::OtherFormat));
        let whole = picture(400, 200, ImageFormat::Jpeg);
        for cut in [whole.len() / 2, whole.len() - 3] {
            assert_eq!(take(&whole[..cut]), Err(PhotoRefusal::CutShort), "{cut}");
        }
        let film = [&whole[..], b"and a few seconds of film"].concat();
        assert!(take(&film).is_ok());
        let whole = picture(40, 20, ImageFormat::Png);
        assert_eq!(take(&whole[..40]), Err(PhotoRefusal::Unreadable));
        assert_eq!(take(&vec![0; MOST_BYTES + 1]), Err(PhotoRefusal::TooLarge));
    }
}
