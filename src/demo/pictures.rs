//! Photos of pieces as the invented studio has them: its models, drawn in resin or metal.

use std::io::Cursor;

use foundry::mesh::render::{RenderOptions, View, render};
use foundry::shapes::Piece;
use image::codecs::jpeg::JpegEncoder;
use image::{ImageFormat, Rgb, RgbImage};

use super::DemoFault;
use super::hands::Dropped;

const WIDE: u32 = 640;
const HIGH: u32 = 480;
const RESIN: [u8; 3] = [132, 176, 116];
const METAL: [u8; 3] = [204, 196, 182];

/// A photo of a piece at a stage, on the grey of a bench.
pub(super) fn photo(piece: Piece, stage: &str) -> Result<Dropped, DemoFault> {
    let broken = |error: image::ImageError| DemoFault::Broken(error.to_string());
    let colour = if stage == "print" { RESIN } else { METAL };
    let view = if stage == "finish" { View::Top } else { View::ThreeQuarter };
    let options = RenderOptions { width: WIDE, height: HIGH, view, colour };
    let png = render(&piece.mesh(), &options).png();
    let drawn =
        image::load_from_memory_with_format(&png, ImageFormat::Png).map_err(broken)?.into_rgba8();
    let laid = RgbImage::from_fn(WIDE, HIGH, |x, y| {
        // Lighter where the lamp is, at the upper left.
        let bench = 118.0 - 0.06 * f64::from(x) - 0.05 * f64::from(y);
        let [r, g, b, cover] = drawn.get_pixel(x, y).0;
        let cover = f64::from(cover) / 255.0;
        Rgb([r, g, b].map(|part| (f64::from(part) * cover + bench * (1.0 - cover)) as u8))
    });
    let mut bytes = Cursor::new(Vec::new());
    JpegEncoder::new_with_quality(&mut bytes, 82).encode_image(&laid).map_err(broken)?;
    Ok(Dropped { name: format!("{}.jpg", piece.slug()), bytes: bytes.into_inner() })
}
